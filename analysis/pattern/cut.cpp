#include "roundel/pattern/cut.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <map>
#include <numbers>
#include <tuple>
#include <unordered_map>
#include <utility>

#include "analysis/pattern/horizon_table.h"

namespace roundel::pattern {
namespace {

constexpr double rad_per_deg = std::numbers::pi / 180;
constexpr double most_ratio = 1.05;  // of the horizon: beyond is ducting or a bad position
constexpr double horizon_step_ft = 500, line_step_km = 5;

/// Which squares of half a degree a sector may reach: of six million cells all but a tenth are then
/// left out without being placed, which takes a third of the time they take together.
class SectorSquares {
 public:
  SectorSquares(const site::Viewpoint& from, double low_deg, double width_deg)
      : viewpoint_(from),
        middle_deg_(low_deg + width_deg / 2),
        half_deg_(width_deg / 2 + margin_deg) {}

  bool may_hold(double latitude_deg, double longitude_deg) {
    const auto row = std::clamp(static_cast<int>((latitude_deg + 90) / side_deg), 0, n_rows - 1);
    const auto column =
        std::clamp(static_cast<int>((longitude_deg + 180) / side_deg), 0, n_columns - 1);
    Known& known = known_[static_cast<std::size_t>(row * n_columns + column)];
    if (known == Known::no) return false;
    if (known == Known::unasked)
      known = is_reached(row * side_deg - 90, column * side_deg - 180) ? Known::yes : Known::no;
    return known == Known::yes;
  }

 private:
  enum class Known : std::uint8_t { unasked, yes, no };
  static constexpr double side_deg = 0.5, margin_deg = 0.5;
  static constexpr int n_rows = 360, n_columns = 720;

  // A ray that comes into a square goes on to its edge: so bearings of the edge are all there are.
  // It is gone along in steps of 7 km.
  bool is_reached(double south_deg, double west_deg) const {
    constexpr int steps = 8;  // a side
    std::optional<double> before_deg;
    for (int i = 0; i <= 4 * steps; ++i) {
      const auto side = static_cast<std::size_t>(i / steps % 4);
      const double along = side_deg * (i % steps) / steps;
      const double north = std::array{0.0, along, side_deg, side_deg - along}[side];
      const double east = std::array{along, side_deg, side_deg - along, 0.0}[side];
      const auto over = viewpoint_.over(south_deg + north, west_deg + east);
      // Beside the antenna a step may go half round it; very far off, round the Earth.
      if (over.range_km < 20 || over.range_km > 5000) return true;
      const double off_deg = std::remainder(over.bearing_deg - middle_deg_, 360);
      if (before_deg && touches(*before_deg, off_deg)) return true;
      before_deg = off_deg;
    }
    return false;
  }
  bool touches(double a_deg, double b_deg) const {
    // Through the back.
    if (std::abs(a_deg - b_deg) > 180)
      return std::min(std::abs(a_deg), std::abs(b_deg)) <= half_deg_;
    return std::min(a_deg, b_deg) <= half_deg_ && std::max(a_deg, b_deg) >= -half_deg_;
  }

  const site::Viewpoint& viewpoint_;
  double middle_deg_, half_deg_;
  std::vector<Known> known_ = std::vector<Known>(std::size_t{n_rows} * n_columns);
};

}  // namespace

std::optional<double> altitude_ft_at(const site::Viewpoint& viewpoint,
                                     const site::Overground& place, double elevation_deg) {
  const double radius_m = 1000 * viewpoint.k() * viewpoint.radius_km(place.bearing_deg);
  const double e = elevation_deg * rad_per_deg, t = 1000 * place.range_km / radius_m;
  if (e + t > std::numbers::pi / 2 - 1e-3) return std::nullopt;
  const double antenna_m = viewpoint.antenna().height_m();
  // r2 - k R without the difference of two large numbers: r1 (cos e / cos(e + t) - 1) + h1, and
  // cos e - cos(e + t) = 2 sin(t / 2) sin(e + t / 2).
  const double height_m =
      (radius_m + antenna_m) * 2 * std::sin(t / 2) * std::sin(e + t / 2) / std::cos(e + t) +
      antenna_m;
  // Heights are above the surrounding surface, altitudes above mean sea level.
  constexpr double high_ft = 100'000;
  const double surface_m = high_ft * site::metres_per_foot - viewpoint.height_m(high_ft);
  return (height_m + surface_m) / site::metres_per_foot;
}

struct CutBuilder::Impl {
  // What builders of several sectors look up.
  struct Common {
    HorizonTable horizons;
    std::vector<schema::Flight> flights;  // by id
  };

  Impl(const site::Viewpoint& from, const site::Limit& limited, CutOptions how,
       std::shared_ptr<Common> lookups)
      : viewpoint(from), limit(limited), common(std::move(lookups)), options(std::move(how)) {
    const int n_sectors = static_cast<int>(std::lround(360 / options.sector_deg));
    sector = std::min(static_cast<int>(options.bearing_deg / options.sector_deg), n_sectors - 1);
    out.bearing_deg = (sector + 0.5) * options.sector_deg;
    out.sector_deg = options.sector_deg;
    out.range_step_km = options.range_step_km;
    out.altitude_step_ft = options.altitude_step_ft;
  }

  void add(const schema::Cell& cell, const site::Overground& over) {
    const double low_deg = sector * options.sector_deg;
    if (over.bearing_deg < low_deg || over.bearing_deg >= low_deg + options.sector_deg) return;
    const schema::Flight* flight = schema::find_flight(common->flights, cell.flight);
    if (!flight) return;
    if (cell.heard > 0 &&
        over.range_km > most_ratio * common->horizons.at(over.bearing_deg, cell.altitude_ft)) {
      ++out.n_beyond;
      return;
    }
    const std::int64_t start_s = cell.window * schema::window_s;
    auto [found, is_new] = of_flight.try_emplace(cell.flight);
    CutFlight& own = found->second;
    if (is_new) {
      own.address = flight->address;
      own.from_s = start_s;
    }
    own.to_s = start_s + schema::window_s;
    if (cell.heard > 0) {
      own.nearest_km = own.heard > 0 ? std::min(own.nearest_km, over.range_km) : over.range_km;
      own.farthest_km = std::max(own.farthest_km, over.range_km);
    }
    own.heard += cell.heard;
    own.expected += cell.expected;

    const bool is_partial =
        cell.window == flight->first_window || cell.window == flight->last_window;
    if (is_partial || cell.uncertainty_km > options.range_step_km) return;
    ++out.n_cells;
    CutBin& bin = bins[{static_cast<int>(over.range_km / options.range_step_km),
                        static_cast<int>(std::floor(cell.altitude_ft / options.altitude_step_ft))}];
    bin.heard += cell.heard;
    bin.expected += cell.expected;
    const std::int64_t hour_s = start_s / 3600 * 3600;
    if (out.hours.empty() || out.hours.back().hour_s != hour_s) out.hours.push_back({hour_s, 0, 0});
    out.hours.back().heard += cell.heard;
    out.hours.back().expected += cell.expected;
  }

  CutElevation line_of(double elevation_deg) const {
    CutElevation made{elevation_deg, {}};
    const double far_km = limit.limit_km(out.bearing_deg, options.top_ft);
    for (double range_km = 0; range_km <= far_km; range_km += line_step_km) {
      const auto altitude_ft =
          altitude_ft_at(viewpoint, {range_km, out.bearing_deg}, elevation_deg);
      if (!altitude_ft || *altitude_ft > options.top_ft) break;
      made.line.push_back({range_km, *altitude_ft});
    }
    return made;
  }

  const site::Viewpoint& viewpoint;
  const site::Limit& limit;
  std::shared_ptr<Common> common;
  CutOptions options;
  int sector{};
  std::optional<SectorSquares> squares{};      // made when cells come that are not placed
  std::map<std::pair<int, int>, CutBin> bins;  // by range, then altitude
  std::unordered_map<schema::Id, CutFlight> of_flight;
  Cut out;
};

CutBuilder::CutBuilder(const site::Viewpoint& viewpoint, const site::Limit& limit,
                       const CutOptions& options, std::span<const schema::Flight> flights) {
  auto common = std::make_shared<Impl::Common>(
      Impl::Common{HorizonTable(limit), {flights.begin(), flights.end()}});
  std::sort(common->flights.begin(), common->flights.end(),
            [](const auto& a, const auto& b) { return a.id < b.id; });
  impl_ = std::make_unique<Impl>(viewpoint, limit, options, std::move(common));
}
CutBuilder::CutBuilder(std::unique_ptr<Impl> impl) : impl_(std::move(impl)) {}
CutBuilder CutBuilder::beside(double bearing_deg) const {
  CutOptions options = impl_->options;
  options.bearing_deg = bearing_deg;
  return CutBuilder(
      std::make_unique<Impl>(impl_->viewpoint, impl_->limit, std::move(options), impl_->common));
}
CutBuilder::CutBuilder(CutBuilder&&) noexcept = default;
CutBuilder& CutBuilder::operator=(CutBuilder&&) noexcept = default;
CutBuilder::~CutBuilder() = default;

void CutBuilder::add(const schema::Cell& cell) {
  if (!impl_->squares)
    impl_->squares.emplace(impl_->viewpoint, impl_->sector * impl_->options.sector_deg,
                           impl_->options.sector_deg);
  if (impl_->squares->may_hold(cell.latitude_deg, cell.longitude_deg))
    impl_->add(cell, impl_->viewpoint.over(cell.latitude_deg, cell.longitude_deg));
}
void CutBuilder::add(const schema::Cell& cell, const site::Overground& over) {
  impl_->add(cell, over);
}

void CutBuilder::join(CutBuilder later) {
  Cut& out = impl_->out;
  const Cut& more = later.impl_->out;
  for (const auto& [at, bin] : later.impl_->bins) {
    CutBin& into = impl_->bins[at];
    into.heard += bin.heard;
    into.expected += bin.expected;
  }
  for (const auto& [id, flight] : later.impl_->of_flight) {
    const auto [found, is_new] = impl_->of_flight.try_emplace(id, flight);
    if (is_new) continue;
    CutFlight& into = found->second;
    into.to_s = flight.to_s;
    if (flight.heard > 0) {
      into.nearest_km =
          into.heard > 0 ? std::min(into.nearest_km, flight.nearest_km) : flight.nearest_km;
      into.farthest_km = std::max(into.farthest_km, flight.farthest_km);
    }
    into.heard += flight.heard;
    into.expected += flight.expected;
  }
  out.n_cells += more.n_cells;
  out.n_beyond += more.n_beyond;
  out.hours.insert(out.hours.end(), more.hours.begin(), more.hours.end());
}

Cut CutBuilder::finish(const std::optional<SectorVerdict>& judged) {
  Cut& out = impl_->out;
  const CutOptions& options = impl_->options;
  out.judged = judged;
  out.limit_method = impl_->limit.method();
  out.refraction = std::abs(impl_->viewpoint.k() - site::k_standard) < 1e-9
                       ? "4/3 Earth"
                       : fmt::format("Earth's radius times {:.3g}", impl_->viewpoint.k());
  for (auto& [at, bin] : impl_->bins) {
    bin.middle = {(at.first + 0.5) * options.range_step_km,
                  (at.second + 0.5) * options.altitude_step_ft};
    out.bins.push_back(bin);
  }
  for (double altitude_ft = 0; altitude_ft <= options.top_ft; altitude_ft += horizon_step_ft)
    out.horizon.push_back({impl_->limit.limit_km(out.bearing_deg, altitude_ft), altitude_ft});
  std::vector<double> elevations_deg = options.elevations_deg;
  if (out.cutoff_deg()) elevations_deg.push_back(*out.cutoff_deg());
  std::sort(elevations_deg.begin(), elevations_deg.end());
  elevations_deg.erase(std::unique(elevations_deg.begin(), elevations_deg.end()),
                       elevations_deg.end());
  for (double elevation_deg : elevations_deg)
    out.elevations.push_back(impl_->line_of(elevation_deg));
  for (const auto& [id, flight] : impl_->of_flight)
    if (flight.heard > 0) out.flights.push_back(flight);
  out.n_flights = static_cast<std::int64_t>(out.flights.size());
  std::sort(out.flights.begin(), out.flights.end(), [](const CutFlight& a, const CutFlight& b) {
    return std::tie(a.from_s, a.address) < std::tie(b.from_s, b.address);
  });
  if (out.flights.size() > options.most_flights)
    out.flights.erase(out.flights.begin(),
                      out.flights.end() - static_cast<std::ptrdiff_t>(options.most_flights));
  return std::move(out);
}

Result<void> CutBuilder::check(const CutOptions& options) {
  if (!(options.bearing_deg >= 0 && options.bearing_deg < 360))
    return fail(Errc::bad_usage, fmt::format("{:g} is no bearing", options.bearing_deg), "bearing",
                "choose one from 0 to below 360");
  if (auto ok = check_sector_deg(options.sector_deg); !ok) return ok;
  if (!(options.range_step_km >= 1 && options.range_step_km <= 100 &&
        options.altitude_step_ft >= 500 && options.altitude_step_ft <= 20'000))
    return fail(Errc::bad_usage, "bins are 1 to 100 km by 500 to 20 000 ft");
  return {};
}

}  // namespace roundel::pattern
