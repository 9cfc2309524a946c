#include "roundel/site/expect.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <mutex>

#include "roundel/site/horizon.h"

namespace roundel::site {
namespace {

/// Means over bearings are taken of so many.
constexpr int mean_bearings = 72;
constexpr int nodes = 48;  ///< of height, evenly in its root: horizons grow so
constexpr double highest_m = 20'000;

double node_height_m(int node) { return highest_m * std::pow(double(node) / (nodes - 1), 2); }

}  // namespace

struct Expectation::Impl {
  schema::SiteRow site;
  ExpectSettings settings;
  Refraction refraction;
  Viewpoint viewpoint;
  std::unique_ptr<Limit> horizon;
  std::optional<Mask> mask;
  std::shared_ptr<const Terrain> terrain;
  std::vector<Skyline> skylines;  ///< by degree, empty without terrain
  std::vector<std::string> warnings;
  std::once_flag tabled;
  std::unique_ptr<Limit> table;

  Impl(schema::SiteRow of, ExpectSettings how, Refraction air, Viewpoint from)
      : site(std::move(of)),
        settings(std::move(how)),
        refraction(std::move(air)),
        viewpoint(std::move(from)),
        horizon(horizon_limit(viewpoint, refraction)) {}

  double antenna_m() const { return viewpoint.antenna().height_m(); }

  /// Along one whole degree.
  ExpectedRange beyond_obstacles(int degree, double height_m) const {
    const double radius_km = viewpoint.radius_km(degree);
    ExpectedRange out{refraction.horizon_km(radius_km, antenna_m(), height_m), LimitCause::horizon};
    if (mask) {
      const MaskPoint point = mask->at(degree);
      const Skyline wall({{point.range_km, point.elevation_deg}});
      const double range_km = wall.limit_km(refraction, radius_km, antenna_m(), height_m);
      if (range_km < out.range_km - 0.01) out = {range_km, LimitCause::mask};
    }
    if (!skylines.empty()) {
      const double range_km = skylines[static_cast<std::size_t>(degree)].limit_km(
          refraction, radius_km, antenna_m(), height_m);
      if (range_km < out.range_km - 0.01) out = {range_km, LimitCause::terrain};
    }
    return out;
  }

  /// Between the whole degrees on both sides.
  ExpectedRange obstacles(double bearing_deg, double height_m) const {
    const double turned = bearing_deg - 360 * std::floor(bearing_deg / 360);
    const int low = static_cast<int>(turned) % 360;
    const auto a = beyond_obstacles(low, height_m);
    const double part = turned - std::floor(turned);
    if (part == 0) return a;
    const auto b = beyond_obstacles((low + 1) % 360, height_m);
    return {a.range_km + part * (b.range_km - a.range_km), part < 0.5 ? a.cause : b.cause};
  }

  Path path(double height_m) const {
    // The radius of curvature varies by 0.5 % with bearing, the link's range by a quarter of that.
    const double radius_km = viewpoint.radius_km(45);
    const double h1_m = std::max(0.5, antenna_m());
    const double h2_m = std::max(0.5, height_m);
    return {radius_km, h1_m, h2_m, refraction.horizon_km(radius_km, h1_m, h2_m)};
  }

  double link_range_km(double height_m) const { return link_km(settings.link, path(height_m)); }

  void look_around() {
    if (!terrain) return;
    skylines = terrain->skylines(refraction, viewpoint, antenna_m());
  }

  void warn() {
    if (!terrain) return;
    if (const auto& missing = terrain->missing_tiles(); !missing.empty()) {
      std::string names;
      constexpr std::size_t most = 6;
      for (std::size_t i = 0; i < std::min(most, missing.size()); ++i)
        names += (i > 0 ? ", " : "") + missing[i];
      if (missing.size() > most) names += fmt::format(" and {} more", missing.size() - most);
      warnings.push_back(fmt::format(
          "{} of {} elevation tiles within {:.0f} km {} missing and {} as the surrounding surface: "
          "{}.",
          missing.size(), missing.size() + static_cast<std::size_t>(terrain->tiles()),
          terrain->radius_km(), missing.size() == 1 ? "is" : "are",
          missing.size() == 1 ? "counts" : "count", names));
    }
    if (const auto ground = terrain->ground_m(); ground && std::abs(*ground - site.ground_m) > 20)
      warnings.push_back(fmt::format(
          "The elevation tiles put the ground at the site at {:.0f} m, the configuration at {:.0f} "
          "m; check position and ground_m.",
          *ground, site.ground_m));
  }
};

namespace {

/// Horizon exact, the rest from tables.
class TableLimit final : public Limit {
 public:
  using Obstacles = std::vector<std::array<float, nodes>>;
  TableLimit(const Viewpoint& viewpoint, const Limit& horizon, std::array<double, nodes> link_km,
             Obstacles mask_km, Obstacles terrain_km, std::string method)
      : viewpoint_(viewpoint),
        horizon_(horizon),
        link_km_(link_km),
        mask_km_(std::move(mask_km)),
        terrain_km_(std::move(terrain_km)),
        method_(std::move(method)) {}

  double limit_km(double bearing_deg, double altitude_ft) const noexcept override {
    return at(bearing_deg, altitude_ft).range_km;
  }
  LimitCause cause(double bearing_deg, double altitude_ft) const noexcept override {
    return at(bearing_deg, altitude_ft).cause;
  }
  std::string_view method() const noexcept override { return method_; }

 private:
  ExpectedRange at(double bearing_deg, double altitude_ft) const noexcept {
    ExpectedRange out{horizon_.limit_km(bearing_deg, altitude_ft), LimitCause::horizon};
    const double height_m = std::clamp(viewpoint_.height_m(altitude_ft), 0.0, highest_m * 0.9999);
    const double place = std::sqrt(height_m / highest_m) * (nodes - 1);
    const auto node = static_cast<std::size_t>(place);
    const double up = place - static_cast<double>(node);
    const double turned = bearing_deg - 360 * std::floor(bearing_deg / 360);
    const auto low = static_cast<std::size_t>(turned) % 360;
    const double part = turned - std::floor(turned);
    const auto lower_to = [&](const Obstacles& table, LimitCause cause) {
      if (table.empty()) return;
      const auto& a = table[low];
      const auto& b = table[(low + 1) % 360];
      const double range_km =
          (1 - part) * (a[node] + up * static_cast<double>(a[node + 1] - a[node])) +
          part * (b[node] + up * static_cast<double>(b[node + 1] - b[node]));
      // Interpolation of the horizon itself is good to a thousandth.
      if (range_km < 0.997 * out.range_km) out = {range_km, cause};
    };
    lower_to(mask_km_, LimitCause::mask);
    lower_to(terrain_km_, LimitCause::terrain);
    const double link_km = link_km_[node] + up * (link_km_[node + 1] - link_km_[node]);
    if (link_km < out.range_km) out = {link_km, LimitCause::link};
    return out;
  }

  const Viewpoint& viewpoint_;
  const Limit& horizon_;
  std::array<double, nodes> link_km_;
  Obstacles mask_km_, terrain_km_;
  std::string method_;
};

}  // namespace

Expectation::Expectation(std::unique_ptr<Impl> impl) : impl_(std::move(impl)) {}
Expectation::Expectation(Expectation&&) noexcept = default;
Expectation& Expectation::operator=(Expectation&&) noexcept = default;
Expectation::~Expectation() = default;

Result<Expectation> Expectation::make(const schema::SiteRow& site, const ExpectSettings& settings) {
  auto refraction = Refraction::make(settings.refraction);
  if (!refraction) return tl::unexpected(refraction.error());
  auto viewpoint = Viewpoint::from(site, refraction->settings().k, settings.sea_level_hpa);
  if (!viewpoint) return tl::unexpected(viewpoint.error());
  auto impl = std::make_unique<Impl>(site, settings, *refraction, std::move(*viewpoint));
  if (!settings.mask_file.empty()) {
    auto mask = Mask::read(settings.mask_file, site.ground_m + site.antenna_m, site.surface_m,
                           impl->refraction, impl->viewpoint.radius_km(45));
    if (!mask) return tl::unexpected(mask.error());
    impl->mask = std::move(*mask);
  }
  if (!settings.terrain_folder.empty()) {
    auto terrain = Terrain::read(settings.terrain_folder, site.latitude_deg, site.longitude_deg,
                                 site.surface_m, settings.terrain_radius_km);
    if (!terrain) return tl::unexpected(terrain.error());
    impl->terrain = std::make_shared<const Terrain>(std::move(*terrain));
  }
  impl->look_around();
  impl->warn();
  return Expectation(std::move(impl));
}

const Viewpoint& Expectation::viewpoint() const noexcept { return impl_->viewpoint; }
const ExpectSettings& Expectation::settings() const noexcept { return impl_->settings; }
const Refraction& Expectation::refraction() const noexcept { return impl_->refraction; }
const Limit& Expectation::horizon() const noexcept { return *impl_->horizon; }
const std::vector<std::string>& Expectation::warnings() const noexcept { return impl_->warnings; }

const Limit& Expectation::limit() const {
  std::call_once(impl_->tabled, [this] {
    const Impl& of = *impl_;
    std::array<double, nodes> link{};
    for (int node = 0; node < nodes; ++node)
      link[static_cast<std::size_t>(node)] = of.link_range_km(node_height_m(node));
    TableLimit::Obstacles mask, terrain;
    for (int degree = 0; degree < 360; ++degree) {
      const double radius_km = of.viewpoint.radius_km(degree);
      const auto row = [&](const Skyline& skyline) {
        std::array<float, nodes> out{};
        for (int node = 0; node < nodes; ++node)
          out[static_cast<std::size_t>(node)] = static_cast<float>(
              skyline.limit_km(of.refraction, radius_km, of.antenna_m(), node_height_m(node)));
        return out;
      };
      if (of.mask) {
        const MaskPoint point = of.mask->at(degree);
        mask.push_back(row(Skyline({{point.range_km, point.elevation_deg}})));
      }
      if (!of.skylines.empty())
        terrain.push_back(row(of.skylines[static_cast<std::size_t>(degree)]));
    }
    std::string method = of.refraction.method();
    if (of.mask) method += ", mask";
    if (of.terrain) method += ", terrain";
    method += ", link budget";
    impl_->table = std::make_unique<TableLimit>(of.viewpoint, *of.horizon, link, std::move(mask),
                                                std::move(terrain), std::move(method));
  });
  return *impl_->table;
}

ExpectedRange Expectation::expected(double bearing_deg, double altitude_ft) const noexcept {
  const double height_m = impl_->viewpoint.height_m(altitude_ft);
  ExpectedRange out = impl_->obstacles(bearing_deg, height_m);
  const double link_km = impl_->link_range_km(height_m);
  if (link_km < out.range_km) out = {link_km, LimitCause::link};
  return out;
}

ExpectedAltitude Expectation::altitude(double altitude_ft) const noexcept {
  const Impl& of = *impl_;
  ExpectedAltitude out;
  out.altitude_ft = altitude_ft;
  out.height_m = of.viewpoint.height_m(altitude_ft);
  out.link_km = of.link_range_km(out.height_m);
  std::array<int, 4> causes{};
  for (int i = 0; i < mean_bearings; ++i) {
    const double bearing_deg = 360.0 / mean_bearings * i;
    const double radius_km = of.viewpoint.radius_km(bearing_deg);
    const auto add = [&](double& mean, double value) { mean += value / mean_bearings; };
    add(out.horizon_km, of.refraction.horizon_km(radius_km, of.antenna_m(), out.height_m));
    add(out.horizon_effective_km,
        site::horizon_km(radius_km, k_standard, of.antenna_m(), out.height_m));
    add(out.horizon_straight_km, site::horizon_km(radius_km, 1, of.antenna_m(), out.height_m));
    const Atmosphere& air = of.settings.refraction.atmosphere;
    RefractionSettings by_ray;
    by_ray.atmosphere = air;
    add(out.horizon_ray_km,
        Refraction::make(by_ray)->horizon_km(radius_km, of.antenna_m(), out.height_m));
    ExpectedRange here = of.obstacles(bearing_deg, out.height_m);
    if (out.link_km < here.range_km) here = {out.link_km, LimitCause::link};
    add(out.expected_km, here.range_km);
    ++causes[static_cast<std::size_t>(here.cause)];
  }
  out.cause =
      static_cast<LimitCause>(std::max_element(causes.begin(), causes.end()) - causes.begin());
  const Path path = of.path(out.height_m);
  out.margin_at_horizon_db = margin_db(of.settings.link, path, path.horizon_km);
  return out;
}

std::optional<double> Expectation::mask_deg(double bearing_deg) const noexcept {
  std::optional<double> out;
  if (impl_->mask) out = impl_->mask->at(bearing_deg).elevation_deg;
  if (!impl_->skylines.empty()) {
    const double turned = bearing_deg - 360 * std::floor(bearing_deg / 360);
    const auto degree = static_cast<std::size_t>(std::lround(turned)) % 360;
    const Skyline& skyline = impl_->skylines[degree];
    if (!skyline.empty()) out = std::max(out.value_or(-90), skyline.elevation_deg());
  }
  return out;
}

std::vector<Help> Expectation::help(const std::vector<double>& altitudes_ft) const {
  const auto means = [&](const Expectation& of) {
    std::vector<double> out;
    for (const double altitude_ft : altitudes_ft)
      out.push_back(of.altitude(altitude_ft).expected_km);
    return out;
  };
  const std::vector<double> now = means(*this);
  std::vector<Help> out;
  const auto compare = [&](std::string what, const schema::SiteRow& site, const Link& link) {
    ExpectSettings settings = impl_->settings;
    settings.link = link;
    // What was read stays as it is: only the antenna moves.
    auto changed = std::make_unique<Impl>(
        site, settings, impl_->refraction,
        std::move(*Viewpoint::from(site, impl_->refraction.settings().k, settings.sea_level_hpa)));
    changed->mask = impl_->mask;
    changed->terrain = impl_->terrain;
    if (site.antenna_m == impl_->site.antenna_m)
      changed->skylines = impl_->skylines;
    else
      changed->look_around();
    Help of{std::move(what), means(Expectation(std::move(changed)))};
    for (std::size_t i = 0; i < now.size(); ++i) of.gain_km[i] -= now[i];
    out.push_back(std::move(of));
  };
  schema::SiteRow higher = impl_->site;
  higher.antenna_m += 1;
  compare("one more metre of height", higher, impl_->settings.link);
  Link better = impl_->settings.link;
  better.threshold_dbm -= 3;  // the same to the budget
  const bool has_as_much = impl_->settings.link.feeder.loss_db() >= 3;
  compare(
      has_as_much ? "3 dB less feeder loss" : "3 dB more gain (the feeder loses less than that)",
      impl_->site, better);
  if (impl_->settings.link.amplifier_db <= 0) {
    better = impl_->settings.link;
    better.amplifier_db = 20;
    compare(fmt::format("an amplifier at the antenna (20 dB, noise figure {:.3g} dB)",
                        better.amplifier_noise_db),
            impl_->site, better);
  }
  return out;
}

}  // namespace roundel::site
