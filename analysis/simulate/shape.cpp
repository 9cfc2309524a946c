#include "analysis/simulate/shape.h"

#include <algorithm>
#include <cmath>

#include "analysis/simulate/numeric.h"
#include "roundel/trial/mast_model.h"

namespace roundel::simulate {
namespace {

/// The mast's Bessel functions come from a library: rounding hides their last digits, which may
/// differ between machines.
double rounded_db(double db) { return static_cast<double>(whole(db * 1e6)) * 1e-6; }

/// Signed angle from b to a, (-180, 180].
double turn(double a, double b) {
  const double d = wrap_360(a - b);
  return d > 180 ? d - 360 : d;
}

double dip_db(const Notch& notch, double bearing_deg) {
  const double off = std::fabs(turn(bearing_deg, notch.bearing_deg)) / (notch.width_deg / 2);
  return off >= 1 ? 0 : -notch.depth_db * (1 + sin_cos(pi * off).cos) / 2;
}

double elevation_db(const ElevationShape& shape, double elevation_deg) {
  if (shape.kind == ElevationKind::flat) return 0;
  const SinCos e = sin_cos(elevation_deg * degree);
  double amplitude = e.cos < 1e-6 ? 0 : std::fabs(sin_cos(pi / 2 * e.sin).cos / e.cos);
  double floor = 0.0562;  // -25 dB
  if (shape.kind == ElevationKind::collinear) {
    const double u =
        pi * shape.spacing_wavelengths * (e.sin - sin_cos(shape.tilt_deg * degree).sin);
    const double below = shape.elements * sin_cos(u).sin;
    const double array = std::fabs(below) < 1e-9 ? 1 : sin_cos(shape.elements * u).sin / below;
    amplitude *= std::fabs(array);
    floor = exp_of(shape.null_db / db_per_neper);
  }
  return decibels(std::max(amplitude, floor));
}

}  // namespace

Result<AzimuthGain> AzimuthGain::make(const AzimuthShape& shape) {
  AzimuthGain gain;
  std::vector<trial::MastModel> masts;
  for (const Mast& mast : shape.masts) {
    auto model = trial::MastModel::make(mast.radius_mm, mast.spacing_mm);
    if (!model) return tl::unexpected(model.error());
    masts.push_back(*std::move(model));
  }
  for (int i = 0; i < size; ++i) {
    const double bearing = static_cast<double>(i) / per_degree;
    double db = 0;
    for (const Harmonic& h : shape.harmonics)
      db += h.amplitude_db * sin_cos(h.order * (bearing - h.phase_deg) * degree).cos;
    for (const Notch& notch : shape.notches) db += dip_db(notch, bearing);
    for (std::size_t m = 0; m < masts.size(); ++m)
      db += rounded_db(masts[m].gain_db(bearing, shape.masts[m].bearing_deg));
    gain.gain_db_[static_cast<std::size_t>(i)] = db;
  }
  gain.gain_db_[size] = gain.gain_db_[0];
  return gain;
}

double AzimuthGain::at(double bearing_deg) const {
  const double x = bearing_deg * per_degree;
  const int i = std::clamp(static_cast<int>(x), 0, size - 1);
  const double low = node(i);
  return low + (x - i) * (node(i + 1) - low);
}

double AzimuthGain::mean_db() const {
  double sum = 0;
  for (int i = 0; i < size; ++i) sum += node(i);
  return sum / size;
}

AzimuthGain AzimuthGain::turned_plus(double rotation_deg, const AzimuthGain& other) const {
  AzimuthGain sum;
  for (int i = 0; i < size; ++i) {
    const double bearing = static_cast<double>(i) / per_degree;
    sum.gain_db_[static_cast<std::size_t>(i)] =
        at(wrap_360(bearing - rotation_deg)) + other.node(i);
  }
  sum.gain_db_[size] = sum.gain_db_[0];
  return sum;
}

ElevationGain::ElevationGain(const ElevationShape& shape) {
  for (std::size_t i = 0; i < gain_db_.size(); ++i)
    gain_db_[i] = elevation_db(shape, static_cast<double>(i) / 10 - 5);
}

double ElevationGain::at(double elevation_deg) const {
  const double x = std::clamp((elevation_deg + 5) * 10, 0.0, 949.999);
  const auto i = static_cast<std::size_t>(x);
  return gain_db_[i] + (x - static_cast<double>(i)) * (gain_db_[i + 1] - gain_db_[i]);
}

}  // namespace roundel::simulate
