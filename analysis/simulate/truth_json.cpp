#include <cmath>
#include <cstdio>
#include <nlohmann/json.hpp>

#include "roundel/simulate/simulate.h"
#include "roundel/time.h"

namespace roundel::simulate {
namespace {

using Json = nlohmann::ordered_json;

double thousandths(double x) { return std::round(x * 1000) / 1000; }

template <std::size_t n>
Json rounded(const std::array<double, n>& values) {
  Json out = Json::array();
  for (const double value : values) out.push_back(thousandths(value));
  return out;
}

/// Means of sectors of 5 degrees; [k] stands at k degrees, so a sector's ends count half.
std::array<double, 72> by_sector(const std::array<double, 360>& by_degree) {
  std::array<double, 72> out{};
  for (std::size_t sector = 0; sector < out.size(); ++sector)
    for (std::size_t d = 0; d <= 5; ++d)
      out[sector] += by_degree[(sector * 5 + d) % 360] * (d == 0 || d == 5 ? 0.1 : 0.2);
  return out;
}

Json trial_json(const TrialTruth& t) {
  return {{"feed", t.trial.feed},
          {"antenna", t.trial.antenna},
          {"receiver", t.trial.receiver},
          {"mount", t.trial.mount},
          {"rotation_deg", t.trial.rotation_deg},
          {"from", format_time(static_cast<double>(t.trial.start_s))},
          {"to", format_time(static_cast<double>(*t.trial.stop_s))},
          {"sent", t.sent},
          {"heard", t.heard},
          {"mean_db", thousandths(t.mean_db)},
          {"pattern_db", rounded(t.pattern_db)},
          {"pattern_by_5deg_db", rounded(by_sector(t.pattern_db))},
          {"elevation_from_deg", TrialTruth::elevation_deg(0)},
          {"elevation_step_deg", TrialTruth::elevation_deg(1) - TrialTruth::elevation_deg(0)},
          {"elevation_less_dipole_db", rounded(t.elevation_db)},
          {"antenna_db", rounded(t.antenna_db)},
          {"mount_db", rounded(t.mount_db)}};
}

Json feed_json(const FeedTruth& f) {
  return {{"name", f.name},
          {"lines", f.lines},
          {"repeats", f.repeats},
          {"wild", f.wild},
          {"ghosts", f.ghosts},
          {"folded", f.folded},
          {"late", f.late},
          {"no_altitude", f.no_altitude},
          {"throttled", f.throttled},
          {"beyond_horizon", f.beyond_horizon},
          {"extrapolated", f.extrapolated},
          {"network", f.network}};
}

Json events_json(const Scenario& s) {
  Json out = Json::array();
  const auto at = [&](double hour) { return format_time(s.start_s + hour * 3600); };
  for (const Step& e : s.steps)
    out.push_back({{"kind", "step"},
                   {"from", at(e.at_h)},
                   {"step_db", e.step_db},
                   {"feed", e.feed},
                   {"from_deg", e.from_deg},
                   {"to_deg", e.to_deg}});
  for (const Drift& e : s.drifts)
    out.push_back({{"kind", "drift"},
                   {"from", at(e.from_h)},
                   {"to", at(e.to_h.value_or(s.hours))},
                   {"db_per_day", e.db_per_day},
                   {"feed", e.feed}});
  for (const Duct& e : s.ducts)
    out.push_back({{"kind", "duct"},
                   {"from", at(e.from_h)},
                   {"to", at(e.to_h)},
                   {"from_deg", e.from_deg},
                   {"to_deg", e.to_deg}});
  for (const Wall& e : s.walls)
    out.push_back({{"kind", "wall"},
                   {"from", at(e.start_h)},
                   {"to", at(e.stop_h.value_or(s.hours))},
                   {"from_deg", e.from_deg},
                   {"to_deg", e.to_deg},
                   {"elevation_deg", e.elevation_deg}});
  for (const Obstacle& e : s.obstacles)
    out.push_back({{"kind", "obstacle"},
                   {"from", at(e.start_h)},
                   {"to", at(e.stop_h.value_or(s.hours))},
                   {"from_deg", e.from_deg},
                   {"to_deg", e.to_deg},
                   {"loss_db", e.loss_db}});
  for (const Reflection& e : s.reflections)
    out.push_back({{"kind", "reflection"},
                   {"from", at(0)},
                   {"to", at(s.hours)},
                   {"from_deg", e.from_deg},
                   {"to_deg", e.to_deg},
                   {"height_m", e.height_m}});
  for (const FeedPlan& feed : s.feeds)
    for (const Outage& e : feed.outages)
      out.push_back(
          {{"kind", "outage"}, {"from", at(e.from_h)}, {"to", at(e.to_h)}, {"feed", feed.name}});
  return out;
}

Json reception_json(const Reception& r) {
  return {{"margin_db", r.margin_db},
          {"softness_db", r.softness_db},
          {"message_loss", r.message_loss},
          {"power_sd_db", r.power_sd_db},
          {"fading_sd_db", r.fading_sd_db},
          {"shadow_sd_db", r.shadow_sd_db},
          {"own_shadow_sd_db", r.own_shadow_sd_db},
          {"shadow_s", r.shadow_s},
          {"horizon_soft_deg", r.horizon_soft_deg},
          {"earth_factor", r.earth_factor}};
}

}  // namespace

std::string truth_json(const Truth& truth, bool with_flights) {
  const Scenario& s = truth.scenario;
  Json out;
  out["seed"] = s.seed;
  out["start"] = format_time(s.start_s);
  out["hours"] = s.hours;
  out["site"] = {{"name", s.site.name},
                 {"latitude", s.site.latitude_deg},
                 {"longitude", s.site.longitude_deg},
                 {"ground_m", s.site.ground_m},
                 {"antenna_m", s.site.antenna_m},
                 {"surface_m", s.site.surface_m}};
  out["reception"] = reception_json(s.reception);
  out["mean_aircraft"] = s.traffic.mean_aircraft;
  out["airways"] = Json::array();
  for (const Airway& a : s.traffic.airways)
    out["airways"].push_back({{"from_deg", thousandths(a.from_deg)},
                              {"to_deg", thousandths(a.to_deg)},
                              {"share", thousandths(a.share)}});
  out["receivers"] = Json::array();
  for (const Receiver& r : s.receivers)
    out["receivers"].push_back({{"name", r.name}, {"offset_db", r.offset_db}});
  out["trials"] = Json::array();
  for (const TrialTruth& trial : truth.trials) out["trials"].push_back(trial_json(trial));
  out["feeds"] = Json::array();
  for (const FeedTruth& feed : truth.feeds) out["feeds"].push_back(feed_json(feed));
  out["mask_deg"] = rounded(truth.mask_deg);
  out["mounts"] = Json::array();
  for (const Mount& m : s.mounts)
    out["mounts"].push_back(
        {{"name", m.name}, {"lean_deg", m.lean_deg}, {"lean_towards_deg", m.lean_towards_deg}});
  out["events"] = events_json(s);
  out["n_flights"] = truth.flights.size();
  if (with_flights) {
    out["flights"] = Json::array();
    for (const FlightTruth& f : truth.flights) {
      char address[8];
      std::snprintf(address, sizeof address, "%06x", f.address);
      out["flights"].push_back({{"address", address},
                                {"from", format_time(f.first_s)},
                                {"to", format_time(f.last_s)},
                                {"power_db", thousandths(f.power_db)},
                                {"type", f.type}});
    }
  }
  return out.dump(1) + "\n";
}

}  // namespace roundel::simulate
