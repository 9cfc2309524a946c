#include <fmt/format.h>

#include <algorithm>

#include "analysis/present/json.h"
#include "roundel/present/separate.h"
#include "roundel/present/units.h"

namespace roundel::present {
namespace {

Json or_nothing(bool is_known, double value) {
  return is_known ? Json(rounded(value, 3)) : Json(nullptr);
}

Json part_json(const trial::Part& part) {
  Json out;
  out["name"] = part.name;
  out["harmonics"] = Json::array();
  for (const auto& one : part.harmonics)
    out["harmonics"].push_back({{"order", one.order},
                                {"amplitude_db", or_nothing(one.identified, one.amplitude_db)},
                                {"phase_deg", or_nothing(one.identified, one.phase_deg)},
                                {"low_db", or_nothing(one.identified, one.low_db)},
                                {"high_db", or_nothing(one.identified, one.high_db)},
                                {"identified", one.identified}});
  out["pattern"] = Json::array();
  for (const auto& one : part.pattern)
    out["pattern"].push_back({{"bearing_deg", one.bearing_deg},
                              {"gain_db", rounded(one.gain_db, 3)},
                              {"low_db", rounded(one.low_db, 3)},
                              {"high_db", rounded(one.high_db, 3)}});
  out["offset_db"] = or_nothing(part.offset.identified, part.offset.value_db);
  out["offset_low_db"] = or_nothing(part.offset.identified, part.offset.low_db);
  out["offset_high_db"] = or_nothing(part.offset.identified, part.offset.high_db);
  out["offset_identified"] = part.offset.identified;
  return out;
}

// "antenna collinear: 2.0 dB (1.8 to 2.2) more towards 40 degrees"
std::string largest_of(const char* kind, const trial::Part& part) {
  const trial::PartHarmonic* best = nullptr;
  for (const auto& one : part.harmonics)
    if (one.identified && one.low_db > 0 && (!best || one.amplitude_db > best->amplitude_db))
      best = &one;
  const bool any = std::any_of(part.harmonics.begin(), part.harmonics.end(),
                               [](const auto& one) { return one.identified; });
  if (!any) return {};
  if (!best) return fmt::format("{} {}: round within its errors", kind, part.name);
  return fmt::format("{} {}: order {} of {:.1f} dB ({:.1f} to {:.1f}), most towards {}", kind,
                     part.name, best->order, best->amplitude_db, best->low_db, best->high_db,
                     bearing_text(best->phase_deg));
}

}  // namespace

std::string separate_sentence(const trial::Separation& s) {
  std::string out;
  const auto add = [&](const std::string& text) {
    if (text.empty()) return;
    out += (out.empty() ? "Told apart: " : "; ") + text;
  };
  for (const auto& part : s.antennas) add(largest_of("antenna", part));
  for (const auto& part : s.mounts) add(largest_of("mount", part));
  if (s.receivers.size() > 1)
    for (const auto& part : s.receivers)
      if (part.offset.identified)
        add(fmt::format("receiver {}: {:+.1f} dB ({:+.1f} to {:+.1f}) against the mean", part.name,
                        part.offset.value_db, part.offset.low_db, part.offset.high_db));
  if (out.empty()) return "Nothing is told apart by these trials.";
  return out + '.';
}

std::string separate_json(const trial::Separation& s) {
  Json out;
  for (const auto& [key, parts] :
       {std::pair{"antennas", &s.antennas}, std::pair{"mounts", &s.mounts}}) {
    out[key] = Json::array();
    for (const auto& part : *parts) out[key].push_back(part_json(part));
  }
  out["receivers"] = Json::array();
  for (const auto& part : s.receivers)
    out["receivers"].push_back(
        {{"name", part.name},
         {"offset_db", or_nothing(part.offset.identified, part.offset.value_db)},
         {"low_db", or_nothing(part.offset.identified, part.offset.low_db)},
         {"high_db", or_nothing(part.offset.identified, part.offset.high_db)},
         {"identified", part.offset.identified}});
  out["not_identified"] = s.not_identified;
  out["advice"] = s.advice;
  out["arrangements"] = Json::array();
  for (const auto& one : s.arrangements)
    out["arrangements"].push_back({{"antenna", one.antenna},
                                   {"rotation_deg", one.rotation_deg},
                                   {"receiver", one.receiver},
                                   {"mount", one.mount},
                                   {"flights", one.flights},
                                   {"hours", rounded(one.hours, 1)}});
  out["sentence"] = separate_sentence(s);
  out["confidence"] = s.confidence;
  return out.dump(2);
}

}  // namespace roundel::present
