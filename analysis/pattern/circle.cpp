#include "roundel/pattern/circle.h"

#include <Eigen/Cholesky>
#include <Eigen/Eigenvalues>
#include <algorithm>
#include <array>
#include <cassert>
#include <cmath>
#include <numbers>
#include <optional>
#include <random>

#include "analysis/pattern/beside.h"

namespace roundel::pattern {
namespace {

using Eigen::MatrixXd;
using Eigen::VectorXd;

using std::numbers::pi;
constexpr int draws = 2000;

// Prior correlation of a curve with roughness scale r, normed to unit variance.
VectorXd kernel_row(int n, double scale) {
  VectorXd row = VectorXd::Zero(n);
  double total = 0;
  for (int order = 1; order <= n / 2; ++order) {
    const double weight = 1 / (1 + std::pow(order / scale, 4));
    total += weight;
    for (int lag = 0; lag < n; ++lag) row[lag] += weight * std::cos(2 * pi * order * lag / n);
  }
  return row / total;
}

MatrixXd kernel(int n, double scale) {
  const VectorXd row = kernel_row(n, scale);
  MatrixXd out(n, n);
  for (int i = 0; i < n; ++i)
    for (int j = 0; j < n; ++j) out(i, j) = row[(i - j + n) % n];
  return out;
}

std::vector<int> indices(const std::vector<bool>& known) {
  std::vector<int> out;
  for (std::size_t i = 0; i < known.size(); ++i)
    if (known[i]) out.push_back(static_cast<int>(i));
  return out;
}

// Takes the mean over known bearings out of a curve and its covariance.
void centre(Curve& curve) {
  const std::vector<int> at = indices(curve.known);
  if (at.empty()) return;
  VectorXd weight = VectorXd::Zero(curve.n());
  for (int i : at) weight[i] = 1.0 / static_cast<double>(at.size());
  const MatrixXd project =
      MatrixXd::Identity(curve.n(), curve.n()) - VectorXd::Ones(curve.n()) * weight.transpose();
  curve.value = project * curve.value;
  curve.covariance = project * curve.covariance * project.transpose();
}

// Small, portable normal draws: std::normal_distribution differs between libraries.
class Normal {
 public:
  explicit Normal(std::uint64_t seed) : engine_(seed) {}
  double operator()() {
    if (other_) {
      const double out = *other_;
      other_.reset();
      return out;
    }
    const double u = (static_cast<double>(engine_() >> 11U) + 0.5) * 0x1p-53;
    const double v = (static_cast<double>(engine_() >> 11U) + 0.5) * 0x1p-53;
    const double length = std::sqrt(-2 * std::log(u));
    other_ = length * std::sin(2 * pi * v);
    return length * std::cos(2 * pi * v);
  }
  // Columns of independent draws.
  MatrixXd matrix(Eigen::Index rows, Eigen::Index columns) {
    MatrixXd out(rows, columns);
    for (Eigen::Index i = 0; i < out.size(); ++i) out.data()[i] = (*this)();
    return out;
  }

 private:
  std::mt19937_64 engine_;
  std::optional<double> other_;
};

// Square root of a covariance that may be singular (its rank is lost to the zero mean).
MatrixXd square_root(const MatrixXd& covariance) {
  const Eigen::SelfAdjointEigenSolver<MatrixXd> eigen(covariance);
  const VectorXd root = eigen.eigenvalues().cwiseMax(0).cwiseSqrt();
  return eigen.eigenvectors() * root.asDiagonal();
}

double quantile(std::vector<double>& values, double share) {
  assert(!values.empty());
  const auto at = static_cast<std::ptrdiff_t>(std::clamp(share, 0.0, 1.0) *
                                              static_cast<double>(values.size() - 1));
  std::nth_element(values.begin(), values.begin() + at, values.end());
  return values[static_cast<std::size_t>(at)];
}

double peak_to_peak(const VectorXd& value, const std::vector<int>& at) {
  double low = value[at[0]], high = low;
  for (int i : at) low = std::min(low, value[i]), high = std::max(high, value[i]);
  return high - low;
}

MatrixXd sub_covariance(const MatrixXd& covariance, const std::vector<int>& at) {
  const auto m = static_cast<Eigen::Index>(at.size());
  MatrixXd out(m, m);
  for (Eigen::Index i = 0; i < m; ++i)
    for (Eigen::Index j = 0; j < m; ++j)
      out(i, j) = covariance(at[static_cast<std::size_t>(i)], at[static_cast<std::size_t>(j)]);
  return out;
}

}  // namespace

double Curve::se(int i) const { return std::sqrt(std::max(0.0, covariance(i, i))); }

Curve centred(const VectorXd& raw, const MatrixXd& errors, const std::vector<bool>& known) {
  Curve out{raw, errors, known, 0};
  centre(out);
  return out;
}

Curve smooth(const VectorXd& raw, const MatrixXd& errors, const std::vector<bool>& known) {
  const int n = static_cast<int>(raw.size());
  const std::vector<int> at = indices(known);
  const auto m = static_cast<Eigen::Index>(at.size());
  Curve out{VectorXd::Zero(n), MatrixXd::Zero(n, n), known, 0};
  if (m < 3) {
    out.covariance = MatrixXd::Identity(n, n) * 100.0;
    return out;
  }
  VectorXd data(m);
  for (Eigen::Index i = 0; i < m; ++i) data[i] = raw[at[static_cast<std::size_t>(i)]];
  data.array() -= data.mean();
  MatrixXd noise = sub_covariance(errors, at);
  noise.diagonal().array() += 1e-8;

  constexpr double level_variance = 1e4;  // the flat prior on the constant
  constexpr double impossible = -1e300;
  const double spreads[] = {0.2, 0.35, 0.5, 0.75, 1, 1.4, 2, 2.8, 4, 5.6, 8};
  const double scales[] = {1, 1.5, 2.2, 3.3, 5, 7.5, 11, 16};
  struct Candidate {
    double spread{}, log_weight{};
    const MatrixXd* full{};
    VectorXd mean;
    MatrixXd covariance;
  };
  const auto factor_of = [&](const Candidate& one) {
    return Eigen::LLT<MatrixXd>(noise + one.spread * one.spread * sub_covariance(*one.full, at) +
                                MatrixXd::Constant(m, m, level_variance));
  };
  std::array<MatrixXd, std::size(scales)> kernels;
  std::vector<Candidate> candidates(std::size(scales) * std::size(spreads));
  each_beside(std::size(scales), [&](std::size_t i) {
    kernels[i] = kernel(n, scales[i]);
    for (std::size_t j = 0; j < std::size(spreads); ++j) {
      Candidate& one = candidates[i * std::size(spreads) + j];
      one.full = &kernels[i];
      one.spread = spreads[j];
      const Eigen::LLT<MatrixXd> factor = factor_of(one);
      const double log_det = 2 * factor.matrixLLT().diagonal().array().log().sum();
      one.log_weight = factor.info() == Eigen::Success
                           ? -0.5 * (data.dot(factor.solve(data)) + log_det)
                           : impossible;
    }
  });
  const double best = std::max_element(candidates.begin(), candidates.end(), [](auto& x, auto& y) {
                        return x.log_weight < y.log_weight;
                      })->log_weight;
  std::erase_if(candidates, [&](const Candidate& one) {
    return one.log_weight < best - 12 || one.log_weight == impossible;
  });
  each_beside(candidates.size(), [&](std::size_t i) {
    Candidate& one = candidates[i];
    const double t2 = one.spread * one.spread;
    const MatrixXd& full = *one.full;
    const Eigen::LLT<MatrixXd> factor = factor_of(one);
    MatrixXd cross(n, m);
    for (Eigen::Index j = 0; j < m; ++j)
      cross.col(j) = t2 * full.col(at[static_cast<std::size_t>(j)]).array() + level_variance;
    const MatrixXd gain = factor.solve(cross.transpose()).transpose();
    Curve centred_one{
        cross * factor.solve(data),
        t2 * full + MatrixXd::Constant(n, n, level_variance) - gain * cross.transpose(), known, 0};
    centre(centred_one);
    one.mean = std::move(centred_one.value);
    one.covariance = std::move(centred_one.covariance);
  });
  double total = 0;
  for (Candidate& one : candidates) total += one.log_weight = std::exp(one.log_weight - best);
  for (const Candidate& one : candidates) {
    out.value += one.log_weight / total * one.mean;
    out.roughness_db += one.log_weight / total * one.spread;
  }
  for (const Candidate& one : candidates) {
    const VectorXd off = one.mean - out.value;
    out.covariance += one.log_weight / total * (one.covariance + off * off.transpose());
  }
  return out;
}

Simultaneous simultaneous(const Curve& curve, double confidence, std::uint64_t seed) {
  const std::vector<int> at = indices(curve.known);
  if (at.size() < 2) return {};
  const MatrixXd covariance = sub_covariance(curve.covariance, at);
  const MatrixXd root = square_root(covariance);
  const Eigen::Index m = covariance.rows();
  MatrixXd inverse_se(m, m);
  for (Eigen::Index i = 0; i < m; ++i) {
    for (Eigen::Index j = 0; j < m; ++j) {
      const double variance =
          i == j ? covariance(i, i) : covariance(i, i) + covariance(j, j) - 2 * covariance(i, j);
      inverse_se(i, j) = variance > 1e-12 ? 1 / std::sqrt(variance) : 0;
    }
  }
  // Draws lie side by side, so that a pair of bearings goes through many of them at once; in single
  // precision, which is plenty for a quantile.
  using Draws = Eigen::Array<float, 1, Eigen::Dynamic>;
  using Errors = Eigen::Array<float, Eigen::Dynamic, Eigen::Dynamic, Eigen::RowMajor>;
  const Errors error = (root * Normal(seed).matrix(m, draws)).cast<float>();
  Draws largest = Draws::Zero(draws), largest_pair = Draws::Zero(draws);
  for (Eigen::Index i = 0; i < m; ++i) {
    largest = largest.max(error.row(i).abs() * static_cast<float>(inverse_se(i, i)));
    for (Eigen::Index j = 0; j < i; ++j)
      largest_pair = largest_pair.max((error.row(i) - error.row(j)).abs() *
                                      static_cast<float>(inverse_se(i, j)));
  }
  std::vector<double> band(largest.begin(), largest.end());
  std::vector<double> pair(largest_pair.begin(), largest_pair.end());
  return {quantile(band, confidence), quantile(pair, confidence)};
}

PairBounds certain(const Curve& curve, double confidence, std::uint64_t seed) {
  const std::vector<int> at = indices(curve.known);
  PairBounds out;
  if (at.size() < 2) return out;
  const double critical = simultaneous(curve, confidence, seed).pair;
  for (int i : at) {
    for (int j : at) {
      if (i == j) continue;
      const double difference = curve.value[i] - curve.value[j];
      const double se = std::sqrt(std::max(
          0.0, curve.covariance(i, i) + curve.covariance(j, j) - 2 * curve.covariance(i, j)));
      out.low_db = std::max(out.low_db, difference - critical * se);
      out.high_db = std::max(out.high_db, difference + critical * se);
    }
  }
  return out;
}

Ripple ripple(const Curve& curve, double confidence, std::uint64_t seed) {
  const std::vector<int> at = indices(curve.known);
  Ripple out;
  if (at.size() < 2) return out;
  const double shown = peak_to_peak(curve.value, at);

  const PairBounds bounds = certain(curve, confidence, seed);
  out.certain_low_db = bounds.low_db;
  out.certain_high_db = bounds.high_db;

  // Noise adds to a peak-to-peak value; draws around the estimate tell how much.
  const MatrixXd errors = square_root(curve.covariance) * Normal(seed + 1).matrix(curve.n(), draws);
  std::vector<double> drawn;
  double mean = 0;
  for (Eigen::Index d = 0; d < draws; ++d) {
    drawn.push_back(peak_to_peak(curve.value + errors.col(d), at));
    mean += drawn.back() / draws;
  }
  const double bias = mean - shown;
  out.value_db = std::max(0.0, shown - bias);
  const double tail = (1 - confidence) / 2;
  // Reflected ("basic") bootstrap interval: what the draws show above the estimate, the truth may
  // lie below it, and the other way round.
  out.low_db = std::max(0.0, 2 * shown - quantile(drawn, 1 - tail) - bias);
  out.high_db = quantile(drawn, 1 - tail);
  out.low_db = std::min(out.low_db, out.value_db);
  out.high_db = std::max(out.high_db, out.value_db);
  return out;
}

namespace {

// Weights that give the cosine and sine part of an order.
MatrixXd fourier(int order, int n) {
  MatrixXd basis(2, n);
  for (int i = 0; i < n; ++i) {
    const double angle = 2 * pi * order * (i + 0.5) / n;
    basis(0, i) = 2.0 / n * std::cos(angle);
    basis(1, i) = 2.0 / n * std::sin(angle);
  }
  return basis;
}

double phase_of(const Eigen::Vector2d& vector, int order) {
  const double phase_deg = std::atan2(vector[1], vector[0]) * (180 / pi) / order;
  return phase_deg < 0 ? phase_deg + 360.0 / order : phase_deg;
}

}  // namespace

Harmonic harmonic(const VectorXd& value, int order) {
  const Eigen::Vector2d vector = fourier(order, static_cast<int>(value.size())) * value;
  return {order, vector.norm(), vector.norm(), vector.norm(), phase_of(vector, order)};
}

std::vector<Harmonic> harmonics(const Curve& curve, int max_order, double confidence,
                                std::uint64_t seed) {
  const int n = curve.n();
  std::vector<Harmonic> out;
  if (n == 0) return out;
  const MatrixXd root = square_root(curve.covariance);
  for (int order = 1; order <= std::min(max_order, n / 2 - 1); ++order) {
    const MatrixXd basis = fourier(order, n);
    const Eigen::Vector2d vector = basis * curve.value;
    const MatrixXd spread = basis * root;
    const double noise2 = spread.squaredNorm();
    Harmonic one;
    one.order = order;
    one.amplitude_db = std::sqrt(std::max(0.0, vector.squaredNorm() - noise2));
    one.phase_deg = phase_of(vector, order);
    // Two numbers have as many independent errors, whatever the number of bearings.
    const MatrixXd error = square_root(spread * spread.transpose()) *
                           Normal(seed + static_cast<std::uint64_t>(order)).matrix(2, draws);
    std::vector<double> lengths, errors;
    for (Eigen::Index d = 0; d < draws; ++d) {
      errors.push_back(error.col(d).norm());
      lengths.push_back((vector + error.col(d)).norm());
    }
    const double tail = (1 - confidence) / 2;
    const bool stands_out = vector.norm() > quantile(errors, confidence);
    const double upper = quantile(lengths, 1 - tail);
    one.low_db = stands_out ? std::max(0.0, quantile(lengths, tail)) : 0.0;
    one.high_db = upper;
    one.low_db = std::min(one.low_db, one.amplitude_db);
    one.high_db = std::max(one.high_db, one.amplitude_db);
    out.push_back(one);
  }
  return out;
}

}  // namespace roundel::pattern
