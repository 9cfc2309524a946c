#include "roundel/trial/separate.h"

#include <Eigen/Cholesky>
#include <algorithm>
#include <array>
#include <cmath>
#include <map>
#include <numbers>
#include <unordered_map>

#include "analysis/pattern/beside.h"
#include "analysis/trial/seen_flights.h"
#include "analysis/trial/separate_design.h"
#include "analysis/trial/softness.h"
#include "roundel/pattern/gain.h"
#include "roundel/pattern/share.h"

namespace roundel::trial {
namespace {

using Eigen::Index;
using Eigen::MatrixXd;
using Eigen::VectorXd;

constexpr double sector_deg = 5;
// What a sector's curve may differ from its Fourier series by.
constexpr double model_sd_db = 0.2;
// More flights than this in a sector sharpen it by less than the scale's own error.
constexpr int most_flights_per_sector = 1000;
// What a whole arrangement's level is off by besides its flights: ceilings, mostly. Set on
// simulated swaps (docs/calibration-trials.md).
constexpr double arrangement_error_db = 0.13;
constexpr double constant_prior_db = 100;

constexpr double radians(double degrees) { return degrees * std::numbers::pi / 180; }

struct FittedArrangement {
  pattern::Exposure exposure;
  pattern::LevelFit rate;
};

// Where each coefficient stands in the vector of unknowns.
class Layout {
 public:
  explicit Layout(const Design& design)
      : antennas_(static_cast<int>(design.antennas().size())),
        mounts_(static_cast<int>(design.mounts().size())),
        receivers_(static_cast<int>(design.receivers().size())) {}
  Index size() const { return harmonic_first() + 2 * fitted_orders * (antennas_ + mounts_); }
  Index antenna_offset(int i) const { return 1 + i; }
  Index mount_offset(int i) const { return 1 + antennas_ + i; }
  Index receiver_offset(int i) const { return 1 + antennas_ + mounts_ + i; }
  // Cosine; the sine follows it.
  Index antenna(int i, int order) const {
    return harmonic_first() + 2 * (i * fitted_orders + order - 1);
  }
  Index mount(int i, int order) const { return antenna(antennas_ + i, order); }
  VectorXd prior_precision() const {
    VectorXd out = VectorXd::Constant(size(), 1 / std::pow(constant_prior_db, 2));
    out.segment(1, harmonic_first() - 1).setConstant(1 / std::pow(prior_sd_db(0), 2));
    for (int i = 0; i < antennas_ + mounts_; ++i)
      for (int order = 1; order <= fitted_orders; ++order)
        out.segment(antenna(i, order), 2).setConstant(1 / std::pow(prior_sd_db(order), 2));
    return out;
  }

 private:
  Index harmonic_first() const { return 1 + antennas_ + mounts_ + receivers_; }
  int antennas_, mounts_, receivers_;
};

}  // namespace

struct SeparateBuilder::Impl {
  const site::Viewpoint& viewpoint;
  Separation out;
  std::map<schema::Id, std::size_t> arrangement_of;  // by trial
  std::vector<pattern::ExposureBuilder> builders;
  std::vector<SeenFlights> seen;

  // The solution: unknowns, their covariance by airframe, and that of prior and data.
  VectorXd solved;
  MatrixXd covariance, posterior;
  double scale_error = 0;

  Impl(const site::Viewpoint& from, const std::vector<schema::Trial>& trials, double confidence)
      : viewpoint(from) {
    out.confidence = confidence;
    for (const schema::Trial& trial : trials) {
      const auto same = std::find_if(
          out.arrangements.begin(), out.arrangements.end(), [&](const Arrangement& one) {
            return one.antenna == trial.antenna && one.receiver == trial.receiver &&
                   one.mount == trial.mount && one.rotation_deg == trial.rotation_deg;
          });
      arrangement_of[trial.id] = static_cast<std::size_t>(same - out.arrangements.begin());
      if (same != out.arrangements.end()) continue;
      out.arrangements.push_back(
          {trial.antenna, trial.receiver, trial.mount, trial.rotation_deg, 0, 0});
      builders.emplace_back(viewpoint, sector_deg, most_flights_per_sector);
      seen.emplace_back();
    }
  }

  // One softness for all: with several, an error in one would pass for gain.
  std::vector<FittedArrangement> fit_all() {
    std::vector<FittedArrangement> all(builders.size());
    pattern::each_beside(all.size(), [&](std::size_t k) {
      FittedArrangement& one = all[k];
      one.exposure = builders[k].finish();
      out.arrangements[k].flights = seen[k].n();
      out.arrangements[k].hours = static_cast<double>(one.exposure.hours.size());
      one.rate = pattern::fit_rate(one.exposure, pattern::find_throttle(one.exposure), {});
    });
    SoftnessMean softness;
    for (const FittedArrangement& one : all) softness.add(one.rate);
    scale_error = std::hypot(softness.mean().relative_error(), pattern::scale_error);
    pattern::each_beside(all.size(), [&](std::size_t k) {
      FittedArrangement& one = all[k];
      if (one.rate.gain_db.size() == 0) return;
      one.rate = pattern::fit_rate(one.exposure, pattern::find_throttle(one.exposure), {},
                                   {&one.rate, softness.mean().value_db});
    });
    return all;
  }

  void solve(const Design& design, const Layout& layout,
             const std::vector<FittedArrangement>& all) {
    const Index n = layout.size();
    MatrixXd normal = layout.prior_precision().asDiagonal();
    VectorXd right = VectorXd::Zero(n);
    std::vector<MatrixXd> weighted(all.size());  // [n x sectors]
    for (std::size_t k = 0; k < all.size(); ++k) {
      const pattern::LevelFit& fit = all[k].rate;
      const Arrangement& how = out.arrangements[k];
      weighted[k] = MatrixXd::Zero(n, fit.gain_db.size());
      for (Index s = 0; s < fit.gain_db.size(); ++s) {
        if (!pattern::is_known_sector(fit, s)) continue;
        VectorXd row = VectorXd::Zero(n);
        row[0] = row[layout.antenna_offset(design.antenna_of(how))] =
            row[layout.mount_offset(design.mount_of(how))] =
                row[layout.receiver_offset(design.receiver_of(how))] = 1;
        const double bearing_deg = sector_deg * (static_cast<double>(s) + 0.5);
        for (int order = 1; order <= fitted_orders; ++order) {
          // A sector's mean shows a little less of a wave than its middle.
          const double half = radians(order * sector_deg / 2), shown = std::sin(half) / half;
          const double of_antenna = radians(order * (bearing_deg - how.rotation_deg));
          const double of_mount = radians(order * bearing_deg);
          const Index a = layout.antenna(design.antenna_of(how), order);
          const Index m = layout.mount(design.mount_of(how), order);
          row[a] = shown * std::cos(of_antenna), row[a + 1] = shown * std::sin(of_antenna);
          row[m] = shown * std::cos(of_mount), row[m + 1] = shown * std::sin(of_mount);
        }
        const double weight = 1 / (fit.covariance(s, s) + model_sd_db * model_sd_db);
        weighted[k].col(s) = weight * row;
        right += weight * fit.gain_db[s] * row;
        normal += weight * row * row.transpose();
      }
    }
    const Eigen::LDLT<MatrixXd> solver(normal);
    posterior = solver.solve(MatrixXd::Identity(n, n));
    solved = posterior * right;
    // An airframe's shifts in all arrangements are taken together.
    std::unordered_map<std::uint64_t, Index> row_of;
    for (const FittedArrangement& one : all)
      for (const auto& flight : one.exposure.flights)
        row_of.try_emplace(flight.address, static_cast<Index>(row_of.size()));
    MatrixXd shift = MatrixXd::Zero(static_cast<Index>(row_of.size()), n);
    for (std::size_t k = 0; k < all.size(); ++k) {
      if (all[k].rate.gain_db.size() == 0) continue;
      const MatrixXd of_flights = all[k].rate.influence * (weighted[k].transpose() * posterior);
      for (std::size_t f = 0; f < all[k].exposure.flights.size(); ++f)
        shift.row(row_of[all[k].exposure.flights[f].address]) +=
            of_flights.row(static_cast<Index>(f));
    }
    covariance = shift.transpose() * shift;
    for (const MatrixXd& one : weighted) {
      const VectorXd moved = posterior * one.rowwise().sum();
      covariance += arrangement_error_db * arrangement_error_db * moved * moved.transpose();
    }
  }

  double z() const { return pattern::normal_reach(out.confidence); }

  Part::Offset offset(Index first, std::size_t count, std::size_t at) const {
    Part::Offset one;
    if (count < 2) return one;
    const auto size = static_cast<Index>(count);
    VectorXd contrast = VectorXd::Constant(size, -1.0 / static_cast<double>(count));
    contrast[static_cast<Index>(at)] += 1;
    const double left = contrast.dot(posterior.block(first, first, size, size) * contrast);
    one.identified = left < identified_share * contrast.squaredNorm() * std::pow(prior_sd_db(0), 2);
    if (!one.identified) return one;
    one.value_db = contrast.dot(solved.segment(first, size));
    const double variance = contrast.dot(covariance.block(first, first, size, size) * contrast) +
                            std::pow(scale_error * one.value_db, 2);
    one.low_db = one.value_db - z() * std::sqrt(variance);
    one.high_db = one.value_db + z() * std::sqrt(variance);
    return one;
  }

  PartHarmonic harmonic(Index at, int order) const {
    PartHarmonic one;
    one.order = order;
    const Eigen::Matrix2d left = posterior.block<2, 2>(at, at),
                          error = covariance.block<2, 2>(at, at);
    one.identified = left.trace() / 2 < identified_share * std::pow(prior_sd_db(order), 2);
    if (!one.identified) return one;
    const Eigen::Vector2d vector = solved.segment<2>(at);
    const double raw = vector.norm();
    one.amplitude_db = std::sqrt(std::max(0.0, raw * raw - error.trace()));
    const Eigen::Vector2d along = raw > 0 ? Eigen::Vector2d(vector / raw) : Eigen::Vector2d(1, 0);
    const double se =
        std::hypot(std::sqrt(along.dot(error * along)), scale_error * one.amplitude_db);
    // Chi-squared with two degrees of freedom.
    const bool stands_out =
        vector.dot(error.ldlt().solve(vector)) > -2 * std::log(1 - out.confidence);
    one.low_db = stands_out ? std::max(0.0, one.amplitude_db - z() * se) : 0;
    one.high_db = one.amplitude_db + z() * se;
    const double phase_deg = std::atan2(vector[1], vector[0]) / radians(1) / order;
    one.phase_deg = phase_deg < 0 ? phase_deg + 360.0 / order : phase_deg;
    return one;
  }

  // `first`: of order 1.
  void tell_pattern(Part& part, Index first) const {
    for (int order = 1; order <= told_orders; ++order)
      part.harmonics.push_back(harmonic(first + 2 * (order - 1), order));
    if (!part.harmonics.front().identified) return;
    for (int i = 0; i < 72; ++i) {
      const double bearing_deg = 2.5 + 5 * i;
      VectorXd basis = VectorXd::Zero(2 * fitted_orders);
      for (int order = 1; order <= fitted_orders; ++order) {
        if (!harmonic(first + 2 * (order - 1), order).identified) continue;
        basis[2 * (order - 1)] = std::cos(radians(order * bearing_deg));
        basis[2 * (order - 1) + 1] = std::sin(radians(order * bearing_deg));
      }
      const double gain_db = basis.dot(solved.segment(first, 2 * fitted_orders));
      const double se = std::sqrt(
          basis.dot(covariance.block(first, first, 2 * fitted_orders, 2 * fitted_orders) * basis));
      const double half = z() * std::hypot(se, scale_error * gain_db);
      part.pattern.push_back({bearing_deg, gain_db, gain_db - half, gain_db + half});
    }
  }

  Separation finish() {
    const Design design(out.arrangements);
    const Layout layout(design);
    solve(design, layout, fit_all());
    const auto add = [&](const std::vector<std::string>& names, Index first_offset,
                         const auto& first_order, std::vector<Part>& parts) {
      for (std::size_t i = 0; i < names.size(); ++i) {
        Part part;
        part.name = names[i];
        part.offset = offset(first_offset, names.size(), i);
        if (const Index first = first_order(static_cast<int>(i)); first > 0)
          tell_pattern(part, first);
        parts.push_back(std::move(part));
      }
    };
    add(
        design.antennas(), layout.antenna_offset(0), [&](int i) { return layout.antenna(i, 1); },
        out.antennas);
    add(
        design.mounts(), layout.mount_offset(0), [&](int i) { return layout.mount(i, 1); },
        out.mounts);
    add(
        design.receivers(), layout.receiver_offset(0), [](int) { return Index{0}; }, out.receivers);
    out.not_identified = design.not_identified(out);
    out.advice = design.advice(out);
    return std::move(out);
  }
};

SeparateBuilder::SeparateBuilder(const site::Viewpoint& viewpoint,
                                 const std::vector<schema::Trial>& trials, double confidence)
    : impl_(std::make_unique<Impl>(viewpoint, trials, confidence)) {}
SeparateBuilder::SeparateBuilder(SeparateBuilder&&) noexcept = default;
SeparateBuilder& SeparateBuilder::operator=(SeparateBuilder&&) noexcept = default;
SeparateBuilder::~SeparateBuilder() = default;

void SeparateBuilder::add(const schema::Cell& cell, const schema::Flight& flight) {
  add(cell, flight,
      impl_->viewpoint.sight(cell.latitude_deg, cell.longitude_deg, cell.altitude_ft));
}

void SeparateBuilder::add(const schema::Cell& cell, const schema::Flight& flight,
                          const site::Sighting& sighting) {
  const auto at = impl_->arrangement_of.find(flight.trial);
  if (at == impl_->arrangement_of.end()) return;
  impl_->builders[at->second].add(cell, flight, sighting);
  impl_->seen[at->second].add(flight.id);
}
Separation SeparateBuilder::finish() { return impl_->finish(); }

}  // namespace roundel::trial
