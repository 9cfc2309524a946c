#include "analysis/trial/difference.h"

#include <algorithm>
#include <boost/math/distributions/students_t.hpp>
#include <cmath>
#include <unordered_map>

#include "analysis/trial/false_discovery.h"
#include "roundel/pattern/share.h"

namespace roundel::trial {
namespace {

// In double throughout, as pattern::normal_reach() is and for its reason.
using StudentsT = boost::math::students_t_distribution<
    double, boost::math::policies::policy<boost::math::policies::promote_double<false>>>;

using Eigen::MatrixXd;
using Eigen::VectorXd;

constexpr int least_flights = 6;
constexpr double least_effective = 4;
constexpr double widest_se_db = 2.5;
// What the flights' scatter does not show: ceilings are taken as known, and one softness stands for
// both. Set on simulated pairs (docs/calibration-trials.md).
constexpr double common_error_db = 0.02, scale_error = 0.02;

// One after the other, traffic and ceilings differ too: what 36 simulated sites asked for.
constexpr double unpaired_inflation = 1.2, unpaired_common_db = 0.05;

double scale_variance(const Difference& difference, double value_db) {
  return (std::pow(difference.scale_error, 2) + std::pow(scale_error, 2)) * value_db * value_db;
}

}  // namespace

bool Difference::empty() const { return std::count(known.begin(), known.end(), true) < 3; }

Difference unpaired_difference(const pattern::Exposure& a, const pattern::LevelFit& fit_a,
                               const pattern::Exposure& b, const pattern::LevelFit& fit_b) {
  Difference out;
  const Eigen::Index n = fit_a.gain_db.size();
  if (n == 0 || fit_b.gain_db.size() != n) return out;
  out.value = fit_a.gain_db - fit_b.gain_db;
  // The same airframe on both sides has the same power: its shifts are taken together.
  std::unordered_map<std::uint64_t, Eigen::Index> row_of;
  for (const auto& flight : a.flights)
    row_of.try_emplace(flight.address, static_cast<Eigen::Index>(row_of.size()));
  for (const auto& flight : b.flights)
    row_of.try_emplace(flight.address, static_cast<Eigen::Index>(row_of.size()));
  MatrixXd shift = MatrixXd::Zero(static_cast<Eigen::Index>(row_of.size()), n);
  for (std::size_t f = 0; f < a.flights.size(); ++f)
    shift.row(row_of[a.flights[f].address]) += fit_a.influence.row(static_cast<Eigen::Index>(f));
  for (std::size_t f = 0; f < b.flights.size(); ++f)
    shift.row(row_of[b.flights[f].address]) -= fit_b.influence.row(static_cast<Eigen::Index>(f));
  out.covariance = unpaired_inflation * (shift.transpose() * shift);
  out.covariance.array() += unpaired_common_db * unpaired_common_db;
  for (Eigen::Index s = 0; s < n; ++s) {
    const auto i = static_cast<std::size_t>(s);
    const double effective = std::min(fit_a.sector_effective[i], fit_b.sector_effective[i]);
    out.flights.push_back(std::min(fit_a.sector_flights[i], fit_b.sector_flights[i]));
    out.freedom.push_back(std::max(2.0, effective - 1));
    out.known.push_back(out.flights.back() >= least_flights && effective >= least_effective &&
                        out.covariance(s, s) < widest_se_db * widest_se_db);
  }
  return out;
}

Difference pooled(const Difference& one, const Difference& other) {
  if (one.empty()) return other;
  if (other.empty()) return one;
  Difference out;
  const Eigen::Index n = one.value.size();
  VectorXd weight(n);
  for (Eigen::Index s = 0; s < n; ++s) {
    const auto i = static_cast<std::size_t>(s);
    weight[s] = !one.known[i] ? 0
                : !other.known[i]
                    ? 1
                    : other.covariance(s, s) / (one.covariance(s, s) + other.covariance(s, s));
    const double w = weight[s];
    out.known.push_back(one.known[i] || other.known[i]);
    out.flights.push_back(one.flights[i] + other.flights[i]);
    // Welch and Satterthwaite.
    const double v1 = w * w * one.covariance(s, s), v2 = (1 - w) * (1 - w) * other.covariance(s, s);
    const double of = v1 * v1 / one.freedom[i] + v2 * v2 / other.freedom[i];
    out.freedom.push_back(of > 0 ? (v1 + v2) * (v1 + v2) / of : 2);
  }
  const VectorXd rest = VectorXd::Ones(n) - weight;
  out.value = weight.cwiseProduct(one.value) + rest.cwiseProduct(other.value);
  out.covariance = weight.asDiagonal() * one.covariance * weight.asDiagonal();
  out.covariance += rest.asDiagonal() * other.covariance * rest.asDiagonal();
  out.scale_error = std::max(one.scale_error, other.scale_error);
  return out;
}

Difference halved(const Difference& one, const Difference& other, double sign) {
  Difference out = one;
  out.value = 0.5 * (one.value + sign * other.value);
  out.covariance = 0.25 * (one.covariance + other.covariance);
  out.scale_error = std::max(one.scale_error, other.scale_error);
  for (std::size_t i = 0; i < out.known.size(); ++i) {
    out.known[i] = one.known[i] && other.known[i];
    out.flights[i] = one.flights[i] + other.flights[i];
    out.freedom[i] = one.freedom[i] + other.freedom[i];
  }
  return out;
}

std::optional<Comparison::Overall> overall(const Difference& difference, double confidence) {
  if (difference.empty()) return std::nullopt;
  std::vector<Eigen::Index> at;
  for (std::size_t i = 0; i < difference.known.size(); ++i)
    if (difference.known[i]) at.push_back(static_cast<Eigen::Index>(i));
  const auto n = static_cast<double>(at.size());
  // How much bearings differ beyond their errors.
  double sum_w = 0, sum_w2 = 0, mean = 0;
  for (const Eigen::Index s : at) {
    const double w = 1 / difference.covariance(s, s);
    sum_w += w, sum_w2 += w * w, mean += w * difference.value[s];
  }
  mean /= sum_w;
  double q = 0;
  for (const Eigen::Index s : at)
    q += std::pow(difference.value[s] - mean, 2) / difference.covariance(s, s);
  const double between = std::max(0.0, (q - (n - 1)) / (sum_w - sum_w2 / sum_w));
  VectorXd weight = VectorXd::Zero(difference.value.size());
  double total = 0;
  for (const Eigen::Index s : at) total += weight[s] = 1 / (difference.covariance(s, s) + between);
  weight /= total;
  double variance = weight.dot(difference.covariance * weight);
  for (const Eigen::Index s : at) variance += between * std::pow(weight[s] - 1 / n, 2);
  Comparison::Overall out;
  out.value_db = weight.dot(difference.value);
  variance += scale_variance(difference, out.value_db) + common_error_db * common_error_db;
  const double z = pattern::normal_reach(confidence);
  out.low_db = out.value_db - z * std::sqrt(variance);
  out.high_db = out.value_db + z * std::sqrt(variance);
  return out;
}

std::vector<CompareSector> sectors_of(const Difference& difference, const CompareOptions& options) {
  const auto n = static_cast<std::size_t>(std::lround(360 / options.sector_deg));
  std::vector<CompareSector> out(n);
  std::vector<double> p;
  std::vector<std::size_t> tested;
  for (std::size_t i = 0; i < n; ++i) {
    CompareSector& sector = out[i];
    sector.bearing_deg = options.sector_deg * (static_cast<double>(i) + 0.5);
    if (i >= difference.known.size()) continue;
    sector.flights = difference.flights[i];
    if (!difference.known[i]) continue;
    const auto s = static_cast<Eigen::Index>(i);
    const double value = difference.value[s];
    const double se =
        std::sqrt(std::max(1e-8, difference.covariance(s, s)) + scale_variance(difference, value));
    const StudentsT t(difference.freedom[i]);
    const double half = quantile(t, 0.5 + options.confidence / 2) * se;
    sector.difference_db = value;
    sector.low_db = value - half;
    sector.high_db = value + half;
    sector.p = 2 * cdf(complement(t, std::abs(value) / se));
    p.push_back(sector.p);
    tested.push_back(i);
  }
  const std::vector<double> adjusted = adjusted_p(p);
  for (std::size_t k = 0; k < tested.size(); ++k)
    out[tested[k]].significant = adjusted[k] <= options.false_discovery;
  return out;
}

}  // namespace roundel::trial
