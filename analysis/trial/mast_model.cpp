#include "roundel/trial/mast_model.h"

#include <fmt/format.h>

#include <algorithm>
#include <boost/math/special_functions/bessel.hpp>
#include <cmath>
#include <numbers>

namespace roundel::trial {
namespace {

using Complex = std::complex<double>;

// Y_n overflows for n far above its argument; the term is then zero to every digit.
using Quiet = boost::math::policies::policy<
    boost::math::policies::overflow_error<boost::math::policies::ignore_error>,
    boost::math::policies::underflow_error<boost::math::policies::ignore_error>>;

constexpr double least_db = -200;

}  // namespace

Result<MastModel> MastModel::make(double radius_mm, double spacing_mm) {
  if (!(radius_mm > 0 && radius_mm <= 2000))
    return fail(Errc::out_of_range,
                fmt::format("mast radius {} mm is not in (0, 2000]", radius_mm));
  if (!(spacing_mm > radius_mm && spacing_mm <= 20000))
    return fail(
        Errc::out_of_range,
        fmt::format("mast spacing {} mm is not above the mast's radius {} mm and at most 20000",
                    spacing_mm, radius_mm));
  const double k = 2 * std::numbers::pi / wavelength_mm;
  return from_electrical(k * radius_mm, k * spacing_mm);
}

Result<MastModel> MastModel::from_electrical(double ka, double kb) {
  if (!(ka > 0 && ka < kb && kb <= 1000))
    return fail(Errc::out_of_range,
                fmt::format("mast of ka {}, kb {}: 0 < ka < kb <= 1000 is needed", ka, kb));
  const int n_terms = static_cast<int>(kb + 8 * std::cbrt(kb) + 25);
  std::vector<Complex> terms;
  terms.reserve(static_cast<std::size_t>(n_terms));
  Complex power_of_j = 1;
  for (int n = 0; n < n_terms; ++n) {
    using boost::math::cyl_bessel_j;
    using boost::math::cyl_neumann;
    const double j_b = cyl_bessel_j(n, kb, Quiet()), y_b = cyl_neumann(n, kb, Quiet());
    const double j_a = cyl_bessel_j(n, ka, Quiet()), y_a = cyl_neumann(n, ka, Quiet());
    Complex scattered = 0;
    if (std::isfinite(y_a) && std::isfinite(y_b))
      scattered = j_a * (Complex(j_b, -y_b) / Complex(j_a, -y_a));
    terms.push_back((n == 0 ? 1.0 : 2.0) * power_of_j * (j_b - scattered));
    power_of_j *= Complex(0, 1);
  }
  return MastModel(std::move(terms));
}

std::complex<double> MastModel::field(double phi_deg) const {
  // Clenshaw's recurrence for a cosine series.
  const double twice_cos = 2 * std::cos(phi_deg * std::numbers::pi / 180);
  Complex next = 0, after = 0;
  for (std::size_t n = terms_.size() - 1; n > 0; --n) {
    const Complex current = terms_[n] + twice_cos * next - after;
    after = next;
    next = current;
  }
  return terms_[0] + twice_cos / 2 * next - after;
}

double MastModel::level_db(double phi_deg) const {
  return std::max(least_db, 20 * std::log10(std::max(std::abs(field(phi_deg)), 1e-300)));
}

double MastModel::ripple_db() const {
  double low = level_db(0), high = low;
  for (int i = 1; i <= 720; ++i) {
    const double level = level_db(i * 0.25);
    low = std::min(low, level);
    high = std::max(high, level);
  }
  return high - low;
}

double MastModel::mean_power() const {
  // Parseval: cos^2 has mean one half, the constant term one.
  double sum = std::norm(terms_[0]);
  for (std::size_t n = 1; n < terms_.size(); ++n) sum += std::norm(terms_[n]) / 2;
  return sum;
}

}  // namespace roundel::trial
