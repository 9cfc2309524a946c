#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "analysis/present/json.h"
#include "roundel/present/drift.h"
#include "roundel/present/units.h"
#include "roundel/time.h"

namespace roundel::present {
namespace {

std::string time_text(std::int64_t time_s) { return format_time(static_cast<double>(time_s)); }

std::string kind_of(const trial::DriftChange& change) {
  if (change.bearings_deg.empty()) return change.step_db < 0 ? "loss" : "gain";
  return change.step_db < 0 ? "obstacle" : "clearing";
}

std::string where(const trial::DriftChange& change) {
  if (change.bearings_deg.empty()) return "on all bearings";
  const double half =
      change.bearings_deg.size() > 1 ? (change.bearings_deg[1] - change.bearings_deg[0]) / 2 : 0;
  return fmt::format("only from {} to {} degrees", bearing_text(change.bearings_deg.front() - half),
                     bearing_text(change.bearings_deg.back() + half));
}

}  // namespace

std::string drift_sentence(const trial::Drift& drift) {
  if (drift.days.empty()) return "Too few flights were heard to tell of a change.";
  if (drift.changes.empty())
    return fmt::format("No change in sensitivity is seen in {} flights over {} days.",
                       grouped(drift.flights), drift.days.size());
  std::string out;
  for (const auto& change : drift.changes)
    out += fmt::format(
        "{}Sensitivity {} by {:.1f} dB ({:.1f} to {:.1f}) about {} (between {} and {}) {}{}.",
        out.empty() ? "" : " ", change.step_db < 0 ? "fell" : "rose", std::abs(change.step_db),
        std::min(std::abs(change.low_db), std::abs(change.high_db)),
        std::max(std::abs(change.low_db), std::abs(change.high_db)), time_text(change.time_s),
        time_text(change.earliest_s), time_text(change.latest_s), where(change),
        change.bearings_deg.empty() ? ", so it is the antenna, its feeder or the receiver"
        : change.step_db < 0        ? ", so something new stands there"
                                    : ", so something is gone from there");
  return out;
}

std::string drift_json(const trial::Drift& drift) {
  Json out;
  out["days"] = Json::array();
  for (const auto& day : drift.days)
    out["days"].push_back({{"date", time_text(day.start_s).substr(0, 10)},
                           {"index_db", rounded(day.index_db, 3)},
                           {"low_db", rounded(day.low_db, 3)},
                           {"high_db", rounded(day.high_db, 3)},
                           {"flights", day.flights}});
  out["changes"] = Json::array();
  for (const auto& change : drift.changes)
    out["changes"].push_back(
        {{"time", time_text(change.time_s)},
         {"step_db", rounded(change.step_db, 3)},
         {"low_db", rounded(change.low_db, 3)},
         {"high_db", rounded(change.high_db, 3)},
         {"bearings", change.bearings_deg.empty() ? Json("all") : Json(change.bearings_deg)},
         {"probability", rounded(change.probability, 4)},
         {"earliest", time_text(change.earliest_s)},
         {"latest", time_text(change.latest_s)},
         {"kind", kind_of(change)}});
  out["notes"] = Json::array();
  for (const auto& note : drift.notes)
    out["notes"].push_back({{"time", time_text(note.time_s)}, {"text", note.text}});
  out["sentence"] = drift_sentence(drift);
  out["flights"] = drift.flights;
  return out.dump(2);
}

}  // namespace roundel::present
