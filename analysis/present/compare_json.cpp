#include <fmt/format.h>

#include "analysis/present/json.h"
#include "roundel/present/compare.h"

namespace roundel::present {
namespace {

using trial::CompareAnswer;

Json interval(const std::optional<trial::Comparison::Overall>& of) {
  if (!of) return nullptr;
  return {{"value", rounded(of->value_db, 3)},
          {"low", rounded(of->low_db, 3)},
          {"high", rounded(of->high_db, 3)}};
}

const pattern::ReachSector* sector_at(const std::optional<pattern::Reach>& reach, std::size_t i) {
  return reach && i < reach->sectors.size() ? &reach->sectors[i] : nullptr;
}
Json reach_km(const pattern::ReachSector* sector) {
  return sector && sector->farthest ? Json(rounded(sector->farthest->range_km, 1)) : Json(nullptr);
}
Json half_rate_km(const pattern::ReachSector* sector) {
  return sector && sector->half_rate ? Json(rounded(sector->half_rate->range_km, 1))
                                     : Json(nullptr);
}

}  // namespace

std::string compare_sentence(const trial::Comparison& c) {
  std::vector<bool> a_better, b_better;
  for (const auto& sector : c.sectors) {
    a_better.push_back(sector.significant && *sector.difference_db > 0);
    b_better.push_back(sector.significant && *sector.difference_db < 0);
  }
  std::string out;
  if (!c.difference) {
    out = fmt::format("Undecided which of {} and {} is better: too few flights were heard by both",
                      c.name_a, c.name_b);
  } else {
    const auto& d = *c.difference;
    const std::string how = fmt::format("({:.0f}% interval {:+.1f} to {:+.1f})",
                                        100 * c.options.confidence, d.low_db, d.high_db);
    if (d.low_db > 0)
      out = fmt::format("{} hears {:.1f} dB more overall than {} {}", c.name_a, d.value_db,
                        c.name_b, how);
    else if (d.high_db < 0)
      out =
          fmt::format("{} hears {:.1f} dB more overall than {} {}", c.name_b, -d.value_db, c.name_a,
                      fmt::format("({:.0f}% interval {:+.1f} to {:+.1f})",
                                  100 * c.options.confidence, -d.high_db, -d.low_db));
    else
      out = fmt::format("No difference between {} and {} is seen overall: {:+.1f} dB {}", c.name_a,
                        c.name_b, d.value_db, how);
    const std::string of_a = bearing_ranges(a_better), of_b = bearing_ranges(b_better);
    const auto part = [](const std::string& ranges) {
      return ranges.find("all") == 0 ? "on " + ranges : "at " + ranges;
    };
    const bool a_leads = d.low_db > 0, b_leads = d.high_db < 0;
    if (of_a.empty() && of_b.empty()) {
      out += a_leads || b_leads ? ", though on no bearing surely for itself"
                                : ", nor on any bearing for itself";
    } else if (a_leads && of_b.empty()) {
      out += fmt::format(", and is nowhere worse; surely better {}", part(of_a));
    } else if (b_leads && of_a.empty()) {
      out += fmt::format(", and is nowhere worse; surely better {}", part(of_b));
    } else {
      // Where the one that hears less overall is the better one all the same.
      if (!a_leads && !of_a.empty())
        out += fmt::format(", but {} is better {}", c.name_a, part(of_a));
      if (!b_leads && !of_b.empty())
        out += fmt::format(", {}{} is better {}", a_leads || of_a.empty() ? "but " : "", c.name_b,
                           part(of_b));
    }
  }
  out += '.';
  if (!c.confounded.empty()) out += " This may be due to something else: see what is confounded.";
  return out;
}

std::string compare_json(const trial::Comparison& c) {
  Json out;
  out["difference_db"] = interval(c.difference);
  out["sectors"] = Json::array();
  for (std::size_t i = 0; i < c.sectors.size(); ++i) {
    const auto& sector = c.sectors[i];
    const auto* const a = sector_at(c.reach_a, i);
    const auto* const b = sector_at(c.reach_b, i);
    out["sectors"].push_back({{"bearing_deg", sector.bearing_deg},
                              {"difference_db", or_null(sector.difference_db, 3)},
                              {"low_db", or_null(sector.low_db, 3)},
                              {"high_db", or_null(sector.high_db, 3)},
                              {"significant", sector.significant},
                              {"p", sector.difference_db ? Json(sector.p) : Json(nullptr)},
                              {"flights", sector.flights},
                              {"reach_a_km", reach_km(a)},
                              {"reach_b_km", reach_km(b)},
                              {"half_rate_a_km", half_rate_km(a)},
                              {"half_rate_b_km", half_rate_km(b)}});
  }
  out["paired"] = c.method != trial::CompareMethod::unpaired;
  out["method"] = name_of(c.method);
  out["verdict"] = name_of(c.answer);
  out["sentence"] = compare_sentence(c);
  out["confounded"] = Json::array();
  for (const auto& one : c.confounded) out["confounded"].push_back(one.what + "; " + one.remedy);
  out["factor"] = name_of(c.factor);
  out["a"] = c.name_a;
  out["b"] = c.name_b;
  out["swapped_offset_db"] = interval(c.swapped_offset);
  const auto& f = c.first_last;
  out["first_last"] = {{"a_first", f.a_first}, {"b_first", f.b_first}, {"same_first", f.same_first},
                       {"a_last", f.a_last},   {"b_last", f.b_last},   {"same_last", f.same_last},
                       {"a_only", f.a_only},   {"b_only", f.b_only}};
  out["flights"] = {{"a", c.flights_a}, {"b", c.flights_b}, {"paired", c.flights_paired}};
  out["hours"] = {{"a", rounded(c.hours_a, 2)},
                  {"b", rounded(c.hours_b, 2)},
                  {"paired", rounded(c.hours_paired, 2)}};
  out["confidence"] = c.options.confidence;
  return out.dump(2);
}

}  // namespace roundel::present
