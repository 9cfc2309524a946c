#include "roundel/trial/compare.h"

#include <algorithm>
#include <cassert>
#include <cmath>
#include <map>
#include <set>

#include "analysis/pattern/beside.h"
#include "analysis/trial/difference.h"
#include "analysis/trial/hour_pairs.h"
#include "analysis/trial/later_exposure.h"
#include "analysis/trial/paired_fit.h"
#include "analysis/trial/pairs.h"
#include "analysis/trial/seen_flights.h"
#include "analysis/trial/softness.h"
#include "roundel/pattern/gain.h"

namespace roundel::trial {
namespace {

using pattern::Exposure;
using pattern::ExposureBuilder;
using pattern::LevelFit;

constexpr std::int64_t least_overlap_s = 1800;
// What does not overlap counts when it is at least this much of what does.
constexpr double least_remainder = 0.1;
// Flights in a sector that a side's own fit takes. Paired, it gives the scale only; unpaired, more
// would sharpen a sector by less than the scale's own error.
constexpr int flights_for_scale = 150, flights_for_gain = 1000;

/// What differs besides what is compared: pairs with mirrored arrangements cancel.
std::string arrangement(const schema::Trial& trial, Factor factor) {
  const std::string other = factor == Factor::receiver ? trial.antenna : trial.receiver;
  return other + "\n" + (factor == Factor::mount ? std::string() : trial.mount);
}

double median(std::vector<double> values) {
  if (values.empty()) return 0;
  const auto mid = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
  std::nth_element(values.begin(), mid, values.end());
  return *mid;
}

struct Fitted {
  Exposure exposure;
  pattern::Throttle throttle;
  LevelFit rate;
};

Fitted fit(Exposure exposure) {
  Fitted out;
  out.throttle = pattern::find_throttle(exposure);
  out.rate = pattern::fit_rate(exposure, out.throttle, {});
  out.exposure = std::move(exposure);
  return out;
}

}  // namespace

std::string_view name_of(CompareMethod method) {
  switch (method) {
    case CompareMethod::paired:
      return "paired";
    case CompareMethod::mixed:
      return "mixed";
    case CompareMethod::unpaired:
      break;
  }
  return "unpaired";
}

std::string_view name_of(CompareAnswer answer) {
  switch (answer) {
    case CompareAnswer::a_better:
      return "a_better";
    case CompareAnswer::b_better:
      return "b_better";
    case CompareAnswer::no_difference:
      return "no_difference";
    case CompareAnswer::mixed_bearings:
      return "depends_on_bearing";
    case CompareAnswer::undecided:
      break;
  }
  return "undecided";
}

struct CompareBuilder::Impl {
  const site::Viewpoint& viewpoint;
  std::array<CompareSide, 2> sides;
  CompareOptions options;
  Factor factor;
  Comparison out;
  PairBuilder pairs;
  HourPairs hour_pairs;
  struct Overlap {
    Interval when;
    std::uint16_t stratum;
  };
  std::vector<Overlap> overlaps;  // in order
  std::vector<std::pair<std::string, std::string>> strata;
  // Exposures of what overlaps, by side; and of what does not, by side and arrangement.
  std::array<std::optional<LaterExposure>, 2> inside;
  std::array<std::map<std::string, ExposureBuilder>, 2> outside;
  bool uses_outside = true, uses_inside = false;
  bool splits_outside = false;  // sides share arrangements, compared one by one
  std::array<SeenFlights, 2> seen;

  Impl(const site::Viewpoint& from, CompareSide a, CompareSide b, const CompareOptions& wanted)
      : viewpoint(from),
        sides{std::move(a), std::move(b)},
        options(wanted),
        factor(compared_factor(sides[0], sides[1])),
        pairs(from, wanted.sector_deg),
        hour_pairs([this](int side, pattern::HourExposure hour) {
          inside[static_cast<std::size_t>(side)]->give(std::move(hour));
        }) {
    assert(options.sector_deg >= 1 && options.sector_deg <= 45);
    find_overlaps();
    for (auto& one : inside) one.emplace(viewpoint, options.sector_deg, flights_for_scale);
    std::set<std::string> in_a;
    for (const auto& part : sides[0].parts) in_a.insert(arrangement(part.trial, factor));
    for (const auto& part : sides[1].parts)
      splits_outside = splits_outside || in_a.count(arrangement(part.trial, factor)) > 0;
  }

  void find_overlaps() {
    std::map<std::pair<std::string, std::string>, std::uint16_t> number;
    std::int64_t inside_s = 0;
    std::array<std::int64_t, 2> whole_s{};
    for (std::size_t side = 0; side < 2; ++side)
      for (const auto& part : sides[side].parts)
        for (const Interval& one : part.recorded) whole_s[side] += one.length_s();
    for (const auto& x : sides[0].parts) {
      for (const auto& y : sides[1].parts) {
        if (x.trial.id == y.trial.id) continue;
        for (const Interval& i : x.recorded) {
          for (const Interval& j : y.recorded) {
            const Interval both{std::max(i.from_s, j.from_s), std::min(i.to_s, j.to_s)};
            if (both.length_s() <= 0) continue;
            const std::pair key{arrangement(x.trial, factor), arrangement(y.trial, factor)};
            const auto [at, is_new] =
                number.try_emplace(key, static_cast<std::uint16_t>(number.size()));
            if (is_new) strata.push_back(key);
            overlaps.push_back({both, at->second});
            inside_s += both.length_s();
            pairs.edge(both.from_s);
            pairs.edge(both.to_s);
          }
        }
      }
    }
    std::sort(overlaps.begin(), overlaps.end(),
              [](const Overlap& x, const Overlap& y) { return x.when.from_s < y.when.from_s; });
    uses_inside = inside_s >= least_overlap_s;
    const auto remainder_s =
        static_cast<double>(std::min(whole_s[0] - inside_s, whole_s[1] - inside_s));
    uses_outside = !uses_inside || remainder_s > least_remainder * static_cast<double>(inside_s);
    out.hours_a = static_cast<double>(whole_s[0]) / 3600;
    out.hours_b = static_cast<double>(whole_s[1]) / 3600;
    out.hours_paired = uses_inside ? static_cast<double>(inside_s) / 3600 : 0;
  }

  // The part of a side that a cell belongs to.
  const TrialPart* part_of(std::size_t side, schema::Id trial, std::int64_t time_s) const {
    for (const TrialPart& part : sides[side].parts) {
      if (part.trial.id != trial) continue;
      for (const Interval& one : part.recorded)
        if (time_s >= one.from_s && time_s < one.to_s) return &part;
    }
    return nullptr;
  }
  const Overlap* overlap_at(std::int64_t time_s) const {
    auto at = std::upper_bound(
        overlaps.begin(), overlaps.end(), time_s,
        [](std::int64_t time, const Overlap& one) { return time < one.when.from_s; });
    if (at == overlaps.begin()) return nullptr;
    --at;
    return time_s < at->when.to_s ? &*at : nullptr;
  }

  void add(const schema::Cell& cell, const schema::Flight& flight, const site::Sighting& sighting) {
    const std::int64_t time_s = cell.window * schema::window_s;
    hour_pairs.close_hour();
    for (std::size_t side = 0; side < 2; ++side) {
      const TrialPart* const part = part_of(side, flight.trial, time_s);
      if (!part) continue;
      ++(side == 0 ? out.cells_a : out.cells_b);
      const Overlap* const overlap = uses_inside ? overlap_at(time_s) : nullptr;
      if (overlap) {
        pairs.add(static_cast<int>(side), overlap->stratum, cell, sighting.line, flight.address);
        seen[side].add(cell.flight);
        inside[side]->add(cell, flight, sighting);
      } else if (uses_outside) {
        seen[side].add(cell.flight);
        outside_of(side, *part).add(cell, flight, sighting);
      }
    }
  }

  void add(schema::Id trial, pattern::HourExposure hour) {
    const TrialPart* const of_a = part_of(0, trial, hour.counts.start_s);
    const TrialPart* const of_b = part_of(1, trial, hour.counts.start_s);
    if (of_a && of_b) add(0, *of_a, hour);
    if (of_b)
      add(1, *of_b, std::move(hour));
    else if (of_a)
      add(0, *of_a, std::move(hour));
  }

  void add(std::size_t side, const TrialPart& part, pattern::HourExposure hour) {
    (side == 0 ? out.cells_a : out.cells_b) += hour.counts.cells;
    const Overlap* const overlap = uses_inside ? overlap_at(hour.counts.start_s) : nullptr;
    if (!overlap && !uses_outside) return;
    for (const auto& flight : hour.flights) seen[side].add(flight.flight.id);
    if (overlap)
      hour_pairs.add(static_cast<int>(side), overlap->stratum, overlap->when, std::move(hour));
    else
      outside_of(side, part).add(std::move(hour));
  }

  ExposureBuilder& outside_of(std::size_t side, const TrialPart& part) {
    const std::string key = splits_outside ? arrangement(part.trial, factor) : std::string();
    return outside[side]
        .try_emplace(key, viewpoint, options.sector_deg, flights_for_gain)
        .first->second;
  }

  std::vector<std::int64_t> edges_s() const {
    std::vector<std::int64_t> out_s;
    const auto add_both = [&](const Interval& one) {
      out_s.insert(out_s.end(), {one.from_s, one.to_s});
    };
    for (const CompareSide& side : sides)
      for (const TrialPart& part : side.parts)
        for (const Interval& one : part.recorded) add_both(one);
    for (const Overlap& overlap : overlaps) add_both(overlap.when);
    return out_s;
  }

  Difference paired() {
    std::array<Fitted, 2> fitted;
    Pairs joined;
    hour_pairs.close_hour();
    pattern::each_beside(3, [&](std::size_t i) {
      if (i < 2) {
        fitted[i] = fit(inside[i]->finish());
      } else {
        joined = pairs.finish();
        hour_pairs.finish(joined);
      }
    });
    const auto& [a, b] = fitted;
    out.first_last = joined.first_last;
    out.flights_paired = joined.n_flights;
    out.cells_paired = joined.n_cells;
    const int n = a.exposure.n_sectors;
    if (a.rate.gain_db.size() == 0 || b.rate.gain_db.size() == 0) return {};
    PairedScale scale;
    SoftnessMean softness;
    softness.add(a.rate);
    softness.add(b.rate);
    scale.softness_db = softness.mean().value_db;
    scale.softness_se_db = softness.mean().se_db;
    scale.level_sd_db =
        std::max(1.0, std::hypot(std::max(a.rate.sigma_flight_db, b.rate.sigma_flight_db),
                                 std::max(a.rate.sigma_block_db, b.rate.sigma_block_db)));
    for (Eigen::Index s = 0; s < n; ++s)
      scale.level_db.push_back((a.rate.gain_db[s] + b.rate.gain_db[s]) / 2);
    scale.messages_a = a.throttle.messages_per_chance;
    scale.messages_b = b.throttle.messages_per_chance;
    set_ceilings(a, b, scale);
    out.softness_db = scale.softness_db;
    std::vector<Difference> by_stratum;
    for (std::size_t k = 0; k < strata.size(); ++k)
      by_stratum.push_back(paired_difference(joined, static_cast<int>(k), n, scale));
    return swapped_or_pooled(by_stratum);
  }

  static void set_ceilings(const Fitted& a, const Fitted& b, PairedScale& scale) {
    const auto first = std::min(a.exposure.hours.front().start_s, b.exposure.hours.front().start_s);
    const auto last = std::max(a.exposure.hours.back().start_s, b.exposure.hours.back().start_s);
    const auto n = static_cast<std::size_t>((last - first) / 3600 + 1);
    scale.first_hour = static_cast<std::uint32_t>(first / 3600);
    for (const auto& [of, ceilings] :
         {std::pair{&a, &scale.ceiling_a}, std::pair{&b, &scale.ceiling_b}}) {
      ceilings->assign(n, median(of->rate.ceiling));
      for (std::size_t h = 0; h < of->exposure.hours.size(); ++h)
        (*ceilings)[static_cast<std::size_t>((of->exposure.hours[h].start_s - first) / 3600)] =
            of->rate.ceiling[h];
    }
  }

  // Strata whose arrangements are each other's mirror cancel what was swapped.
  Difference swapped_or_pooled(const std::vector<Difference>& by_stratum) {
    Difference mirrored, plain, offset;
    for (std::size_t i = 0; i < strata.size(); ++i) {
      std::size_t mirror = strata.size();
      for (std::size_t j = 0; j < strata.size(); ++j)
        if (strata[j].first == strata[i].second && strata[j].second == strata[i].first) mirror = j;
      if (mirror == strata.size() || mirror == i) {
        // Equal arrangements need no mirror: an unswapped pair of different ones is worse than a
        // swapped one, and left out beside it (below).
        plain = plain.empty() ? by_stratum[i] : pooled(plain, by_stratum[i]);
      } else if (mirror > i && !by_stratum[i].empty() && !by_stratum[mirror].empty()) {
        const Difference half = halved(by_stratum[i], by_stratum[mirror], 1);
        mirrored = mirrored.empty() ? half : pooled(mirrored, half);
        offset = halved(by_stratum[i], by_stratum[mirror], -1);
      } else if (mirror > i) {
        const Difference& one = by_stratum[i].empty() ? by_stratum[mirror] : by_stratum[i];
        plain = plain.empty() ? one : pooled(plain, one);
      }
    }
    if (mirrored.empty()) return plain;
    out.swapped_offset = overall(offset, options.confidence);
    return mirrored;
  }

  Difference unpaired() {
    Difference sum;
    std::vector<double> softness;
    for (auto& [key, builder] : outside[0]) {
      const auto other = outside[1].find(key);
      if (other == outside[1].end()) continue;
      Fitted a = fit(builder.finish());
      Fitted b = fit(other->second.finish());
      SoftnessMean both;
      both.add(a.rate);
      both.add(b.rate);
      for (Fitted* side : {&a, &b})
        if (side->rate.gain_db.size() > 0)
          side->rate = pattern::fit_rate(side->exposure, side->throttle, {},
                                         {&side->rate, both.mean().value_db});
      softness.push_back(both.mean().value_db);
      Difference one = unpaired_difference(a.exposure, a.rate, b.exposure, b.rate);
      one.scale_error = both.mean().relative_error();
      sum = sum.empty() ? one : pooled(sum, one);
    }
    if (out.softness_db == 0) out.softness_db = median(softness);
    return sum;
  }

  void answer() {
    bool a_somewhere = false, b_somewhere = false;
    int known = 0;
    for (const CompareSector& sector : out.sectors) {
      if (!sector.difference_db) continue;
      ++known;
      if (!sector.significant) continue;
      (*sector.difference_db > 0 ? a_somewhere : b_somewhere) = true;
    }
    if (!out.difference || known < 3) return;
    const bool a_overall = out.difference->low_db > 0, b_overall = out.difference->high_db < 0;
    if (a_overall)
      out.answer = CompareAnswer::a_better;
    else if (b_overall)
      out.answer = CompareAnswer::b_better;
    else if (a_somewhere || b_somewhere)
      out.answer = CompareAnswer::mixed_bearings;
    else
      out.answer = CompareAnswer::no_difference;
  }

  Comparison finish() {
    out.options = options;
    out.factor = factor;
    out.name_a = sides[0].name;
    out.name_b = sides[1].name;
    out.flights_a = seen[0].n();
    out.flights_b = seen[1].n();
    out.confounded = confounders(sides[0], sides[1], factor);
    Difference together, apart;
    if (uses_inside) together = paired();
    if (uses_outside) apart = unpaired();
    out.method = together.empty() ? CompareMethod::unpaired
                 : apart.empty()  ? CompareMethod::paired
                                  : CompareMethod::mixed;
    const Difference all = pooled(together, apart);
    out.difference = overall(all, options.confidence);
    out.sectors = sectors_of(all, options);
    answer();
    return std::move(out);
  }
};

CompareBuilder::CompareBuilder(const site::Viewpoint& viewpoint, CompareSide a, CompareSide b,
                               const CompareOptions& options)
    : impl_(std::make_unique<Impl>(viewpoint, std::move(a), std::move(b), options)) {}
CompareBuilder::CompareBuilder(CompareBuilder&&) noexcept = default;
CompareBuilder& CompareBuilder::operator=(CompareBuilder&&) noexcept = default;
CompareBuilder::~CompareBuilder() = default;

void CompareBuilder::add(const schema::Cell& cell, const schema::Flight& flight) {
  impl_->add(cell, flight,
             impl_->viewpoint.sight(cell.latitude_deg, cell.longitude_deg, cell.altitude_ft));
}
void CompareBuilder::add(const schema::Cell& cell, const schema::Flight& flight,
                         const site::Sighting& sighting) {
  impl_->add(cell, flight, sighting);
}
void CompareBuilder::add(schema::Id trial, pattern::HourExposure hour) {
  impl_->add(trial, std::move(hour));
}
void CompareBuilder::settle(std::size_t side) { impl_->inside[side]->settle(); }
std::vector<std::int64_t> CompareBuilder::edges_s() const { return impl_->edges_s(); }
Comparison CompareBuilder::finish() { return impl_->finish(); }

}  // namespace roundel::trial
