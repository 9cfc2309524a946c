#include <fmt/format.h>

#include "analysis/present/json.h"
#include "roundel/present/plan.h"
#include "roundel/present/units.h"

namespace roundel::present {

std::string plan_sentence(const trial::ComparePlan& plan) {
  const std::string seen =
      fmt::format("{} flights in {:.0f} h", grouped(plan.flights_seen), plan.hours_seen);
  if (!plan.half_width_db)
    return fmt::format("Too little traffic was seen to tell the precision to expect ({}).", seen);
  return fmt::format(
      "To expect after {:g} days of traffic like that seen ({}): the difference to within {:.2f} "
      "dB overall, and {:.1f} dB in a sector ({} of 72 with traffic enough).",
      plan.days, seen, *plan.half_width_db, *plan.sector_half_width_db, plan.sectors);
}

std::string plan_json(const trial::ComparePlan& plan) {
  Json out;
  out["days"] = plan.days;
  out["both_at_once"] = plan.both_at_once;
  out["steps"] = Json::array();
  for (const auto& step : plan.steps) {
    Json mountings = Json::array();
    for (const auto& one : step.mountings)
      mountings.push_back(
          {{"antenna", one.antenna}, {"receiver", one.receiver}, {"mount", one.mount}});
    out["steps"].push_back({{"from_day", rounded(step.from_day, 2)},
                            {"to_day", rounded(step.to_day, 2)},
                            {"mountings", std::move(mountings)}});
  }
  out["half_width_db"] = or_null(plan.half_width_db, 3);
  out["sector_half_width_db"] = or_null(plan.sector_half_width_db, 3);
  out["sectors"] = plan.sectors;
  out["hours_seen"] = rounded(plan.hours_seen, 1);
  out["flights_seen"] = plan.flights_seen;
  out["sentence"] = plan_sentence(plan);
  return out.dump(2);
}

}  // namespace roundel::present
