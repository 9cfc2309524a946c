// A scenario from TOML. What a key is called, where it may stand and what it may hold is said once,
// where it is bound to its member.
#include <fmt/format.h>

#include <algorithm>
#include <fstream>
#include <iterator>

#include "analysis/simulate/scenario_table.h"
#include "roundel/simulate/scenario.h"
#include "roundel/time.h"

namespace roundel::simulate {
namespace {

using config::Value;
using Table = ScenarioTable;

void read_azimuth(Table& t, AzimuthShape& shape) {
  t.tables("harmonic", shape.harmonics, [](Table& h, Harmonic& out) {
    h.integer("order", 1, 36, out.order);
    h.number("amplitude_db", 0, 30, out.amplitude_db);
    h.bearing("phase_deg", out.phase_deg);
  });
  t.tables("notch", shape.notches, [](Table& n, Notch& out) {
    n.bearing("bearing_deg", out.bearing_deg);
    n.number("width_deg", 0.5, 360, out.width_deg);
    n.number("depth_db", 0, 40, out.depth_db);
  });
  t.table("mast", [&](Table& m) {
    Mast& out = shape.masts.emplace_back();
    m.number("radius_mm", 0.01, 2000, out.radius_mm);
    m.number("spacing_mm", 1, 20000, out.spacing_mm);
    m.bearing("bearing_deg", out.bearing_deg);
  });
}

void read_equipment(Table& t, Scenario& s) {
  t.tables("antenna", s.antennas, [](Table& a, Antenna& out) {
    a.name(out.name);
    a.number("gain_db", -40, 40, out.gain_db);
    read_azimuth(a, out.azimuth);
    a.table("elevation", [&](Table& e) {
      e.choice("kind", {"flat", "dipole", "collinear"}, out.elevation.kind);
      e.integer("elements", 2, 16, out.elevation.elements);
      e.number("spacing_wavelengths", 0.1, 0.99, out.elevation.spacing_wavelengths);
      e.number("tilt_deg", -20, 20, out.elevation.tilt_deg);
      e.number("null_db", -80, -5, out.elevation.null_db);
    });
  });
  t.tables("mount", s.mounts, [](Table& m, Mount& out) {
    m.name(out.name);
    m.number("lean_deg", 0, 10, out.lean_deg);
    m.bearing("lean_towards_deg", out.lean_towards_deg);
    read_azimuth(m, out.azimuth);
  });
  t.tables("receiver", s.receivers, [](Table& r, Receiver& out) {
    r.name(out.name);
    r.number("offset_db", -40, 40, out.offset_db);
    r.number("threshold_dbfs", -120, 0, out.threshold_dbfs);
    r.number("level_noise_db", 0, 6, out.level_noise_db);
    r.number("compress_from_dbfs", -120, 0, out.compress_from_dbfs);
    r.number("full_scale_dbfs", -120, 0, out.full_scale_dbfs);
    r.boolean("has_level", out.has_level);
    r.number("sensitivity_dbm", -110, -60, out.sensitivity_dbm);
    r.number("swing_db", 0, 20, out.swing_db);
    r.number("swing_peak_h", 0, 24, out.swing_peak_h);
    r.number("gain_control_db", 0, 10, out.gain_control_db);
    r.number("deaf_above_db", 0, 80, out.deaf_above_db);
    r.share("burst_share", out.burst_share);
    r.number("burst_s", 0.1, 600, out.burst_s);
    r.number("burst_db", 0, 60, out.burst_db);
    r.number("pair_s", 0, 60, out.pair_s);
  });
}

void read_site(Table& t, schema::SiteRow& site) {
  t.text("name", site.name);
  t.number("latitude", -75, 75, site.latitude_deg);
  t.number("longitude", -180, 180, site.longitude_deg);
  t.number("ground_m", -500, 9000, site.ground_m);
  t.number("antenna_m", 0, 1000, site.antenna_m);
  site.surface_m = site.ground_m;
  t.number("surface_m", -500, 9000, site.surface_m);
}

void read_reception(Table& t, Reception& r) {
  t.number("margin_db", -30, 60, r.margin_db);
  t.number("softness_db", 0.05, 6, r.softness_db);
  t.choice("threshold", {"logistic", "normal", "skewed", "tailed"}, r.threshold);
  t.number("message_loss", 0, 0.9, r.message_loss);
  t.number("message_loss_spread", 0, 2, r.message_loss_spread);
  t.share("capture", r.capture);
  t.number("power_sd_db", 0, 10, r.power_sd_db);
  t.number("fading_sd_db", 0, 6, r.fading_sd_db);
  t.number("shadow_sd_db", 0, 10, r.shadow_sd_db);
  t.number("own_shadow_sd_db", 0, 10, r.own_shadow_sd_db);
  t.number("shadow_s", 1, 100000, r.shadow_s);
  t.number("horizon_soft_deg", 0.005, 2, r.horizon_soft_deg);
  t.number("earth_factor", 1, 10, r.earth_factor);
}

void read_aircraft(Table& t, AircraftPlan& a) {
  t.share("two_antennas_share", a.two_antennas_share);
  t.number("upper_loss_db", 0, 30, a.upper_loss_db);
  t.number("upper_loss_db_per_deg", 0, 10, a.upper_loss_db_per_deg);
  t.number("upper_loss_most_db", 0, 40, a.upper_loss_most_db);
  t.share("half_rate_share", a.half_rate_share);
  t.share("weak_share", a.weak_share);
  t.number("weak_db", 0, 40, a.weak_db);
}

void read_traffic(Table& t, Traffic& traffic, const std::filesystem::path& folder) {
  constexpr double any_share = 1e6, any_ft = 60000;
  t.number("mean_aircraft", 0.1, 5000, traffic.mean_aircraft);
  t.number("radius_km", 51, 600, traffic.radius_km);
  t.number("crossing_share", 0, any_share, traffic.crossing_share);
  t.number("light_share", 0, any_share, traffic.light_share);
  t.integer("airways_from_seed", 0, 100, traffic.airways_from_seed);
  t.number("airways_share", 0, any_share, traffic.airways_share);
  t.number("airport_share", 0, any_share, traffic.airport_share);
  t.number("night_factor", 0.01, 1, traffic.night_factor);
  t.number("quiet_h", 0, 24, traffic.quiet_h);
  t.integer("fleet", 0, 1000000, traffic.fleet);
  std::string file;
  if (t.text("file", file)) traffic.file = folder / file;
  t.tables("airway", traffic.airways, [](Table& a, Airway& out) {
    a.bearing("from_deg", out.from_deg);
    a.bearing("to_deg", out.to_deg);
    a.number("share", 0, any_share, out.share);
    a.number("width_km", 0, 200, out.width_km);
    a.number("low_ft", 0, any_ft, out.low_ft);
    a.number("high_ft", 0, any_ft, out.high_ft);
    a.boolean("both_ways", out.both_ways);
    a.text("type", out.type);
  });
  t.tables("airport", traffic.airports, [](Table& a, Airport& out) {
    a.bearing("bearing_deg", out.bearing_deg);
    a.number("range_km", 0, 400, out.range_km);
    a.bearing("runway_deg", out.runway_deg);
    a.number("elevation_ft", -1000, 15000, out.elevation_ft);
    a.number("share", 0, any_share, out.share);
    a.share("hold_share", out.hold_share);
  });
  t.tables("orbit", traffic.orbits, [](Table& o, Orbit& out) {
    o.bearing("bearing_deg", out.bearing_deg);
    o.number("range_km", 0, 500, out.range_km);
    o.number("radius_km", 1, 100, out.radius_km);
    o.number("altitude_ft", 500, any_ft, out.altitude_ft);
    o.number("hours", 0.1, 24, out.hours);
    o.number("share", 0, any_share, out.share);
  });
  t.tables("empty", traffic.empties, [](Table& e, Empty& out) {
    e.bearing("from_deg", out.from_deg);
    e.bearing("to_deg", out.to_deg);
    e.share("keep", out.keep);
  });
}

void read_events(Table& t, Scenario& s) {
  t.tables("wall", s.walls, [](Table& w, Wall& out) {
    w.bearing("from_deg", out.from_deg);
    w.bearing("to_deg", out.to_deg);
    w.number("elevation_deg", -1, 89, out.elevation_deg);
    w.number("soft_deg", 0.005, 5, out.soft_deg);
    w.hours("start_h", out.start_h);
    w.hours("stop_h", out.stop_h);
  });
  t.tables("obstacle", s.obstacles, [](Table& o, Obstacle& out) {
    o.bearing("from_deg", out.from_deg);
    o.bearing("to_deg", out.to_deg);
    o.number("loss_db", 0, 40, out.loss_db);
    o.hours("start_h", out.start_h);
    o.hours("stop_h", out.stop_h);
  });
  t.tables("reflection", s.reflections, [](Table& r, Reflection& out) {
    r.bearing("from_deg", out.from_deg);
    r.bearing("to_deg", out.to_deg);
    r.number("height_m", 0.1, 1000, out.height_m);
    r.number("roughness_m", 0, 10, out.roughness_m);
    r.number("coefficient", 0, 0.99, out.coefficient);
  });
  t.tables("trial", s.trials, [](Table& p, TrialPlan& out) {
    p.text("feed", out.feed);
    p.text("antenna", out.antenna);
    p.text("receiver", out.receiver);
    p.text("mount", out.mount);
    p.bearing("rotation_deg", out.rotation_deg);
    p.hours("start_h", out.start_h);
    p.hours("stop_h", out.stop_h);
  });
  t.tables("step", s.steps, [](Table& e, Step& out) {
    e.hours("at_h", out.at_h);
    e.number("step_db", -60, 60, out.step_db);
    e.text("feed", out.feed);
    e.bearing("from_deg", out.from_deg);
    e.bearing("to_deg", out.to_deg);
  });
  t.tables("drift", s.drifts, [](Table& e, Drift& out) {
    e.hours("from_h", out.from_h);
    e.hours("to_h", out.to_h);
    e.number("db_per_day", -60, 60, out.db_per_day);
    e.text("feed", out.feed);
  });
  t.tables("duct", s.ducts, [](Table& e, Duct& out) {
    e.hours("from_h", out.from_h);
    e.hours("to_h", out.to_h);
    e.share("loss_share", out.loss_share);
    e.bearing("from_deg", out.from_deg);
    e.bearing("to_deg", out.to_deg);
  });
}

void read_interferences(Table& t, Scenario& s) {
  t.tables("interference", s.interferences, [](Table& i, Interference& out) {
    i.choice("kind", {"silent", "spoofed"}, out.kind);
    i.hours("from_h", out.from_h);
    i.hours("to_h", out.to_h);
    i.bearing("bearing_deg", out.bearing_deg);
    i.number("range_km", 0, 600, out.range_km);
    i.number("radius_km", 1, 600, out.radius_km);
    i.bearing("false_bearing_deg", out.false_bearing_deg);
    i.number("false_range_km", 0, 600, out.false_range_km);
  });
}

void read_feeds(Table& t, Scenario& s) {
  t.tables("feed", s.feeds, [](Table& f, FeedPlan& out) {
    f.name(out.name);
    f.boolean("throttled", out.throttled);
    f.share("repeat_share", out.repeat_share);
    f.share("wild_share", out.wild_share);
    f.share("ghost_share", out.ghost_share);
    f.share("fold_share", out.fold_share);
    f.share("out_of_order_share", out.out_of_order_share);
    f.share("no_altitude_share", out.no_altitude_share);
    f.number("clock_offset_s", -1e9, 1e9, out.clock_offset_s);
    f.number("time_step_s", 0, 60, out.time_step_s);
    f.integer("position_decimals", 2, 5, out.position_decimals);
    f.number("jitter_m", 0, 10000, out.jitter_m);
    f.number("extrapolate_s", 0, 300, out.extrapolate_s);
    f.number("poll_s", 0.5, 60, out.poll_s);
    f.tables("network", out.networks, [](Table& n, Network& network) {
      n.bearing("from_deg", network.from_deg);
      n.bearing("to_deg", network.to_deg);
      n.number("gap_s", 0.5, 600, network.gap_s);
    });
    f.tables("clock_step", out.clock_steps, [](Table& c, ClockStep& step) {
      c.hours("at_h", step.at_h);
      c.number("step_s", -1e6, 1e6, step.step_s);
    });
    f.tables("outage", out.outages, [](Table& o, Outage& outage) {
      o.hours("from_h", outage.from_h);
      o.hours("to_h", outage.to_h);
    });
  });
}

void read_types(Table& t, Scenario& s) {
  t.tables("aircraft_type", s.types, [](Table& a, AircraftType& out) {
    a.name(out.name);
    a.number("share", 0, 1e6, out.share);
    a.number("power_db", -20, 20, out.power_db);
    a.number("nose_db", -10, 10, out.nose_db);
    a.number("side_db", -10, 10, out.side_db);
    a.number("lobe_db", -10, 10, out.lobe_db);
    a.number("belly_db", -10, 10, out.belly_db);
    a.boolean("is_light", out.is_light);
  });
}

void read_top(Table& t, Scenario& s, const std::filesystem::path& folder) {
  if (const Value* seed = t.take("seed")) {
    if (seed->kind != Value::Kind::integer || seed->integer < 0)
      t.refuse(*seed, "seed is not a whole number from 0");
    else
      s.seed = static_cast<std::uint64_t>(seed->integer);
  }
  if (const Value* start = t.take("start")) {
    const auto time = start->kind == Value::Kind::text      ? parse_time(start->text)
                      : start->kind == Value::Kind::integer ? Result<double>(start->number)
                                                            : fail(Errc::malformed, "");
    if (time)
      s.start_s = *time;
    else
      t.refuse(*start, "start is not a time",
               "write \"2026-03-01T00:00:00Z\", in quotes, or Unix seconds");
  }
  t.number("hours", 0.01, any_hour, s.hours);
  t.table("site", [&](Table& inner) { read_site(inner, s.site); });
  t.table("reception", [&](Table& inner) { read_reception(inner, s.reception); });
  t.table("aircraft", [&](Table& inner) { read_aircraft(inner, s.aircraft); });
  t.table("traffic", [&](Table& inner) { read_traffic(inner, s.traffic, folder); });
  read_types(t, s);
  read_equipment(t, s);
  read_events(t, s);
  read_interferences(t, s);
  read_feeds(t, s);
}

/// Names must not be taken twice.
template <class T>
std::optional<std::string> doubled(const std::vector<T>& list) {
  for (std::size_t i = 0; i < list.size(); ++i)
    for (std::size_t j = 0; j < i; ++j)
      if (list[i].name == list[j].name) return list[i].name;
  return {};
}

}  // namespace

Result<Scenario> parse_scenario(std::string_view toml, const std::filesystem::path& file,
                                Scenario base) {
  const auto document = config::read_toml(toml, file);
  if (!document) return tl::unexpected(document.error());
  Scenario s = std::move(base);
  std::optional<Error> error;
  const std::string name = file.string();
  Table top(*document, "", name, error);
  read_top(top, s, file.parent_path());
  top.finish();
  if (error) return tl::unexpected(*std::move(error));
  for (const auto& twice : {doubled(s.antennas), doubled(s.mounts), doubled(s.receivers),
                            doubled(s.feeds), doubled(s.types)})
    if (twice)
      return fail(Errc::bad_config,
                  fmt::format("the name {} is taken twice", config::shown(*twice)), name,
                  "choose another");
  // What does not fit together is said before anything runs; the file is named.
  if (auto ready = completed(s); !ready) {
    Error unfit = ready.error();
    unfit.where = unfit.where.empty() ? name : name + ": " + unfit.where;
    return tl::unexpected(std::move(unfit));
  }
  return s;
}

Result<Scenario> load_scenario(const std::filesystem::path& file) {
  std::ifstream in(file, std::ios::binary);
  if (!in || std::filesystem::is_directory(file))
    return fail(Errc::not_found, "cannot read the scenario", file.string(), "check that it exists");
  const std::string text{std::istreambuf_iterator<char>(in), {}};
  return parse_scenario(text, file);
}

}  // namespace roundel::simulate
