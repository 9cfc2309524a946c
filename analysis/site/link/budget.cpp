#include <algorithm>
#include <cmath>
#include <numbers>

#include "analysis/site/angle.h"
#include "analysis/site/triangle.h"
#include "roundel/site/link.h"

namespace roundel::site {
namespace {

/// Field over that at right angles to the elements, squared.
double pattern(int elements, double elevation) {
  const double cosine = std::cos(elevation);
  if (cosine < 1e-6) return 0;
  const double one = std::cos(std::numbers::pi / 2 * std::sin(elevation)) / cosine;
  // Elements half a wavelength apart: phase pi sin(e) from one to the next.
  const double half = std::numbers::pi / 2 * std::sin(elevation);
  const double array =
      std::abs(std::sin(half)) < 1e-9 ? 1 : std::sin(elements * half) / (elements * std::sin(half));
  return one * one * array * array;
}

double directivity_db(int elements) {
  // 2 / Int pattern cos(e) de over the sphere, midpoint rule.
  constexpr int steps = 2000;
  double sum = 0;
  for (int i = 0; i < steps; ++i) {
    const double elevation = ((i + 0.5) / steps - 0.5) * std::numbers::pi;
    sum += pattern(elements, elevation) * std::cos(elevation);
  }
  return 10 * std::log10(2 / (sum * std::numbers::pi / steps));
}

double ratio_of(double db) { return std::pow(10, db / 10); }

}  // namespace

double Feeder::loss_db() const noexcept {
  return length_m / 100 * db_per_100m * std::sqrt(carrier_mhz / 1000) +
         (length_m > 0 ? connectors * connector_db : 0);
}

double antenna_gain_dbi(int elements, double elevation_deg) noexcept {
  static const double one_db = directivity_db(1);
  const double peak_db = elements == 1 ? one_db : directivity_db(elements);
  return peak_db + 10 * std::log10(std::max(pattern(elements, elevation_deg * rad_per_deg), 1e-6));
}

double amplifier_benefit_db(const Link& link) noexcept {
  if (link.amplifier_db <= 0) return 0;
  const double without = ratio_of(link.feeder.loss_db() + link.receiver_noise_db);
  const double with =
      ratio_of(link.amplifier_noise_db) + (without - 1) / ratio_of(link.amplifier_db);
  return 10 * std::log10(without / with);
}

double margin_db(const Link& link, const Path& path, double range_km) noexcept {
  const double effective_km =
      500 * std::pow(path.horizon_km / (std::sqrt(path.h1_m) + std::sqrt(path.h2_m)), 2);
  const double elevation_deg = solve(range_km, effective_km, path.h1_m, path.h2_m).elevation_deg;
  double margin = link.power_dbm + link.aircraft_antenna_dbi - median_loss_db(path, range_km) +
                  antenna_gain_dbi(link.elements, elevation_deg) - link.feeder.loss_db() +
                  amplifier_benefit_db(link) - link.threshold_dbm;
  if (link.ground == Ground::two_ray) margin += two_ray_gain_db(path, range_km, link.roughness_m);
  return margin;
}

double link_km(const Link& link, const Path& path) noexcept {
  constexpr double most_km = 2000;
  // From far out inwards: lobes may raise the margin over 0 again beyond a null. Nulls lie within
  // the horizon and are wide there, 1 % steps find the last of them.
  double far_km = most_km;
  if (margin_db(link, path, far_km) >= 0) return far_km;
  double near_km = far_km;
  while (near_km > 0.1) {
    near_km = far_km * 0.98;
    if (margin_db(link, path, near_km) >= 0) break;
    far_km = near_km;
  }
  if (near_km <= 0.1) return near_km;
  for (int i = 0; i < 30; ++i) {
    const double middle_km = (near_km + far_km) / 2;
    (margin_db(link, path, middle_km) >= 0 ? near_km : far_km) = middle_km;
  }
  return near_km;
}

}  // namespace roundel::site
