#include "roundel/pattern/summary.h"

#include <algorithm>
#include <array>
#include <bitset>
#include <cmath>
#include <unordered_map>

#include "analysis/pattern/horizon_table.h"
#include "analysis/pattern/hour_exposure_bytes.h"
#include "analysis/pattern/summary_bytes.h"
#include "analysis/pattern/support.h"
#include "roundel/pattern/field.h"
#include "roundel/site/sightline.h"

namespace roundel::pattern {
namespace {

constexpr std::size_t n_places = SummaryBins::n_sectors * SummaryBins::n_bands;

int elevation_bin(double elevation_deg) {
  const double place =
      (elevation_deg - SummaryBins::lowest_elevation_deg) / SummaryBins::elevation_deg;
  return static_cast<int>(std::clamp(place, 0.0, SummaryBins::n_elevations - 1.0));
}

/// Sorted lists into one; of two with one place, `join(first, second)`.
template <class Row, class Place, class Join>
std::vector<Row> join_by(std::vector<Row> a, const std::vector<Row>& b, Place place, Join join) {
  a.insert(a.end(), b.begin(), b.end());
  std::stable_sort(a.begin(), a.end(),
                   [&](const Row& one, const Row& other) { return place(one) < place(other); });
  std::vector<Row> out;
  for (const Row& row : a) {
    if (out.empty() || place(out.back()) != place(row))
      out.push_back(row);
    else
      join(out.back(), row);
  }
  return out;
}

const auto place_of = [](const auto& row) { return std::pair(row.sector, row.band); };
const auto share_place = [](const SummaryShare& row) {
  return std::tuple(row.sector, row.range_bin, row.elevation_bin);
};
const auto others_place = [](const SummaryOthers& row) { return std::pair(row.sector, row.step); };
const auto add_counts = [](auto& to, const auto& row) {
  to.heard += row.heard;
  to.expected += row.expected;
};
const auto keep_farther_one = [](auto& best, const auto& other) {
  if (other.range_km > best.range_km) best = other;
};

/// One trial's hour while its cells come in.
class TrialHour {
 public:
  /// @param limit_km, horizon_km  of the cell's altitude and bearing: for reach, for exposure
  void add(const schema::Cell& cell, const schema::Flight& flight, const site::Sighting& sighting,
           double limit_km, double horizon_km, const ReachOptions& options) {
    exposer_.add(cell, flight, sighting, horizon_km);
    const site::Sightline& over = sighting.line;
    const int sector = std::min(static_cast<int>(over.bearing_deg / SummaryBins::sector_deg),
                                SummaryBins::n_sectors - 1);
    const bool has_share =
        is_rated(cell, flight) && over.range_km < options.half_rate_ratio * limit_km;
    if (!has_share && is_in_field(cell, over.range_km)) {
      SummaryOthers& some = others_[static_cast<std::size_t>(
          sector * field_steps + static_cast<int>(over.range_km / field_step_km))];
      some.heard += cell.heard;
      some.expected += cell.expected;
    }
    if (has_share) {
      const int range_bin = std::min(static_cast<int>(over.range_km / SummaryBins::range_km),
                                     SummaryBins::n_ranges - 1);
      if (shares_.size() == most_shares_) condense();
      shares_.push_back({static_cast<std::uint32_t>((sector * SummaryBins::n_ranges + range_bin) *
                                                        SummaryBins::n_elevations +
                                                    elevation_bin(over.elevation_deg)),
                         static_cast<std::uint32_t>(cell.heard),
                         static_cast<std::uint32_t>(cell.expected)});
    }
    if (cell.heard == 0) return;
    out_.flights += cell.window == flight.first_window;
    ++out_.heard_cells;
    Passing& passing = flights_[flight.id];
    const bool is_beyond = over.range_km > options.max_ratio * limit_km;
    if (!is_beyond && cell.altitude_ft >= options.contact_min_ft) {
      if (cell.window == flight.first_window)
        out_.contacts.push_back({sector, true, cell.window, over.range_km});
      if (cell.window == flight.last_window)
        out_.contacts.push_back({sector, false, cell.window, over.range_km});
    }
    if (is_beyond) {
      ++out_.beyond_cells;
      out_.beyond_flights += !std::exchange(passing.was_beyond, true);
      keep_farther(out_.beyond, {sector, 0, over.range_km, over.bearing_deg, cell.altitude_ft,
                                 cell.window, flight.id});
      return;
    }
    const int band = band_of(cell.altitude_ft, options);
    const auto place = static_cast<std::size_t>(sector * SummaryBins::n_bands + band);
    ++heard_[place].cells;
    heard_[place].flights += !passing.seen[place];
    passing.seen[place] = true;
    passing.support.add(
        {cell.window, cell.latitude_deg, cell.longitude_deg, cell.altitude_ft,
         static_cast<float>(over.range_km), static_cast<float>(over.bearing_deg),
         static_cast<float>(limit_km), static_cast<std::int16_t>(sector),
         static_cast<std::int16_t>(band), static_cast<std::uint8_t>(cell.heard)},
        options, [&](const Candidate& c) {
          keep_farther(
              farthest_[static_cast<std::size_t>(c.sector * SummaryBins::n_bands + c.band)],
              {c.sector, c.band, c.range_km, c.bearing_deg, c.altitude_ft, c.window, flight.id});
        });
  }

  schema::SummaryDetail finish(std::int64_t hour_s) {
    out_.hour_s = hour_s;
    for (std::size_t place = 0; place < n_places; ++place) {
      if (farthest_[place]) out_.farthest.push_back(*farthest_[place]);
      if (heard_[place].cells == 0) continue;
      heard_[place].sector = static_cast<int>(place) / SummaryBins::n_bands;
      heard_[place].band = static_cast<int>(place) % SummaryBins::n_bands;
      out_.heard.push_back(heard_[place]);
    }
    condense();
    for (const Share& share : shares_) {
      const auto place = static_cast<int>(share.key / SummaryBins::n_elevations);
      out_.shares.push_back({place / SummaryBins::n_ranges, place % SummaryBins::n_ranges,
                             static_cast<int>(share.key % SummaryBins::n_elevations), share.heard,
                             share.expected});
    }
    auto& others = out_.others.emplace();
    for (std::size_t place = 0; place < others_.size(); ++place) {
      if (others_[place].expected == 0) continue;
      others_[place].sector = static_cast<int>(place) / field_steps;
      others_[place].step = static_cast<int>(place) % field_steps;
      others.push_back(others_[place]);
    }
    return {summary_bytes(out_), exposure_bytes(exposer_.take())};
  }

 private:
  struct Passing {
    bool was_beyond = false;
    std::bitset<n_places> seen;  ///< by sector and band
    Support support;
  };
  struct Share {
    std::uint32_t key;
    std::uint32_t heard, expected;
  };

  // One for each place, in order. So a busy hour takes no more memory than it has places.
  void condense() {
    std::sort(shares_.begin(), shares_.end(),
              [](const Share& a, const Share& b) { return a.key < b.key; });
    std::size_t n = 0;
    for (const Share& share : shares_) {
      if (n == 0 || shares_[n - 1].key != share.key) {
        shares_[n++] = share;
        continue;
      }
      shares_[n - 1].heard += share.heard;
      shares_[n - 1].expected += share.expected;
    }
    shares_.resize(n);
    most_shares_ = std::max(most_shares_, 2 * n);
  }

  HourSummary out_;
  HourExposer exposer_{SummaryBins::sector_deg};
  std::unordered_map<schema::Id, Passing> flights_;
  std::array<std::optional<SummaryFarthest>, n_places> farthest_;  ///< by sector and band
  std::array<SummaryHeard, n_places> heard_{};
  std::vector<SummaryOthers> others_ =  ///< by sector and step
      std::vector<SummaryOthers>(SummaryBins::n_sectors * field_steps);
  std::vector<Share> shares_;
  std::size_t most_shares_ = 1 << 16;
};

class HourSummariser : public schema::Summariser {
 public:
  explicit HourSummariser(site::Viewpoint viewpoint)
      : viewpoint_(std::move(viewpoint)),
        limit_(site::horizon_limit(viewpoint_, site::Refraction())),
        limits_(*limit_),
        horizon_(site::effective_earth_limit(viewpoint_)),
        horizons_(*horizon_) {}

  int method() const override { return summary_method; }

  void add(const schema::Cell& cell, const schema::Flight& flight) override {
    hour_s_ = cell.window / schema::windows_per_hour * 3600;
    cells_.push_back(cell);
    flights_.push_back(flight);
    if (cells_.size() == at_once) add_cells();
  }

  std::map<schema::Id, schema::SummaryDetail> finish() override {
    add_cells();
    std::map<schema::Id, schema::SummaryDetail> out;
    for (auto& [trial, hour] : trials_) out[trial] = hour.finish(hour_s_);
    trials_.clear();
    return out;
  }

  schema::SummaryDetail merged(const schema::SummaryDetail& a,
                               const schema::SummaryDetail& b) const override {
    return {merged_places(a.places, b.places), merged_flights(a.flights, b.flights)};
  }

 private:
  // Enough that sightlines are computed several at a time.
  static constexpr std::size_t at_once = 1024;

  void add_cells() {
    sightings_.resize(cells_.size());
    viewpoint_.sight(cells_, sightings_);
    for (std::size_t i = 0; i < cells_.size(); ++i) {
      const double bearing_deg = sightings_[i].line.bearing_deg;
      const double altitude_ft = cells_[i].altitude_ft;
      trials_[flights_[i].trial].add(cells_[i], flights_[i], sightings_[i],
                                     limits_.at(bearing_deg, altitude_ft),
                                     horizons_.at(bearing_deg, altitude_ft), options_);
    }
    cells_.clear();
    flights_.clear();
  }

  static std::string merged_flights(const std::string& a, const std::string& b) {
    auto one = exposure_of(a, 0);
    auto other = exposure_of(b, 0);
    if (!one || !other) return one ? a : b;
    join(*one, std::move(*other));
    return exposure_bytes(*one);
  }

  static std::string merged_places(const std::string& a, const std::string& b) {
    auto one = summary_of(a, 0);
    const auto other = summary_of(b, 0);
    if (!one || !other) return one ? a : b;  // of an older method: nothing to add to
    one->flights += other->flights;
    one->heard_cells += other->heard_cells;
    one->beyond_cells += other->beyond_cells;
    one->beyond_flights += other->beyond_flights;
    if (other->beyond) keep_farther(one->beyond, *other->beyond);
    one->farthest = join_by(std::move(one->farthest), other->farthest, place_of, keep_farther_one);
    one->heard = join_by(std::move(one->heard), other->heard, place_of,
                         [](SummaryHeard& to, const SummaryHeard& row) {
                           to.cells += row.cells;
                           to.flights += row.flights;
                         });
    one->shares = join_by(std::move(one->shares), other->shares, share_place, add_counts);
    if (other->others)
      one->others = join_by(std::move(one->others).value_or(std::vector<SummaryOthers>()),
                            *other->others, others_place, add_counts);
    one->contacts.insert(one->contacts.end(), other->contacts.begin(), other->contacts.end());
    std::stable_sort(one->contacts.begin(), one->contacts.end(),
                     [](const auto& x, const auto& y) { return x.window < y.window; });
    return summary_bytes(*one);
  }

  const ReachOptions options_;
  site::Viewpoint viewpoint_;
  std::unique_ptr<site::Limit> limit_;
  HorizonTable limits_;
  std::unique_ptr<site::Limit> horizon_;
  HorizonTable horizons_;
  std::vector<schema::Cell> cells_;  // that wait for add_cells(), and what flights they are of
  std::vector<schema::Flight> flights_;
  std::vector<site::Sighting> sightings_;
  std::int64_t hour_s_ = 0;
  std::map<schema::Id, TrialHour> trials_;
};

}  // namespace

Result<HourSummary> read_summary(const schema::Summary& stored) {
  auto summary = summary_of(stored.detail.places, stored.hour_s);
  if (!summary) return not_a_summary(stored);
  summary->trial = stored.trial;
  summary->reports = stored.heard;
  return std::move(*summary);
}

Result<std::unique_ptr<schema::Summariser>> make_summariser(const schema::SiteRow& site) {
  auto viewpoint = site::Viewpoint::from(site);
  if (!viewpoint) return tl::unexpected(viewpoint.error());
  return make_summariser(std::move(*viewpoint));
}

std::unique_ptr<schema::Summariser> make_summariser(site::Viewpoint viewpoint) {
  return std::make_unique<HourSummariser>(std::move(viewpoint));
}

}  // namespace roundel::pattern
