// roundel compare: which of two antennas is better, by how much, and where.
#include "roundel/trial/compare.h"

#include <fmt/format.h>

#include <CLI/CLI.hpp>
#include <memory>

#include "analysis/program/command.h"
#include "analysis/program/selection.h"
#include "analysis/program/text_table.h"
#include "analysis/program/write_file.h"
#include "roundel/present/compare.h"
#include "roundel/present/plan.h"
#include "roundel/schema/store.h"
#include "roundel/trial/plan.h"

namespace roundel::program {
namespace {

struct CompareCommand {
  std::string database, a, b, units = "metric";
  trial::CompareOptions options;
  bool json = false;
  std::string svg;
  std::optional<double> plan_days;
};

std::string table(const trial::Comparison& c, present::Units units) {
  using Align = TextTable::Align;
  const std::string unit(present::range_unit(units));
  TextTable out({{"bearing", Align::left},
                 {"a-b dB", Align::right},
                 {"interval", Align::right},
                 {"sure", Align::left},
                 {"flights", Align::right},
                 {"reach a " + unit, Align::right},
                 {"reach b " + unit, Align::right},
                 {"half rate a", Align::right},
                 {"half rate b", Align::right}});
  const auto range = [&](const pattern::ReachSector& s) {
    return s.farthest ? fmt::format("{:.0f}", present::range_in(units, s.farthest->range_km)) : "-";
  };
  const auto half = [&](const pattern::ReachSector& s) {
    return s.half_rate ? fmt::format("{:.0f}", present::range_in(units, s.half_rate->range_km))
                       : "-";
  };
  for (std::size_t i = 0; i < c.sectors.size(); ++i) {
    const auto& s = c.sectors[i];
    const auto& a = c.reach_a->sectors[i];
    const auto& b = c.reach_b->sectors[i];
    out.add({present::bearing_text(s.bearing_deg - c.options.sector_deg / 2) + "-" +
                 present::bearing_text(s.bearing_deg + c.options.sector_deg / 2),
             s.difference_db ? fmt::format("{:+.1f}", *s.difference_db) : "-",
             s.difference_db ? fmt::format("{:+.1f} {:+.1f}", *s.low_db, *s.high_db) : "-",
             !s.significant           ? ""
             : *s.difference_db > 0.0 ? "a"
                                      : "b",
             present::grouped(s.flights), range(a), range(b), half(a), half(b)});
  }
  return out.text();
}

Result<int> plan(const schema::Store& store, const schema::Selection& a, const schema::Selection& b,
                 const CompareCommand& command) {
  using Align = TextTable::Align;
  const auto result = trial::plan_comparison(store, a, b, *command.plan_days);
  if (!result) return tl::unexpected(result.error());
  if (command.json) {
    fmt::print("{}\n", present::plan_json(*result));
    return 0;
  }
  TextTable table({{"from day", Align::right},
                   {"to day", Align::right},
                   {"antenna", Align::left},
                   {"receiver", Align::left},
                   {"mount", Align::left}});
  for (const auto& step : result->steps)
    for (const auto& one : step.mountings)
      table.add({fmt::format("{:.2f}", step.from_day), fmt::format("{:.2f}", step.to_day),
                 one.antenna, one.receiver, one.mount});
  fmt::print("{}\n{}\n\n{}", present::plan_sentence(*result),
             result->both_at_once
                 ? "Both at once, so that each aircraft is heard by both; what is swapped cancels."
                 : "By turns, so that weather and traffic fall on both alike; a second receiver "
                   "would let both run at once, which is sharper.",
             table.text());
  return 0;
}

Result<int> run_compare(const CompareCommand& command) {
  const auto units = present::parse_units(command.units);
  if (!units) return tl::unexpected(units.error());
  const auto a = parse_selection(command.a, "--a");
  if (!a) return tl::unexpected(a.error());
  const auto b = parse_selection(command.b, "--b");
  if (!b) return tl::unexpected(b.error());
  const auto store = schema::Store::open(command.database, schema::Store::Access::read);
  if (!store) return tl::unexpected(store.error());
  if (command.plan_days) return plan(*store, *a, *b, command);
  const auto result = trial::compare(*store, *a, *b, command.options);
  if (!result) return tl::unexpected(result.error());
  if (!command.svg.empty()) {
    const auto written = write_file(command.svg, present::compare_svg(*result));
    if (!written) return tl::unexpected(written.error());
  }
  if (command.json) {
    fmt::print("{}\n", present::compare_json(*result));
    return 0;
  }
  fmt::print("{}\n\na is {} ({} flights, {:.1f} h), b is {} ({} flights, {:.1f} h); {}.\n",
             present::compare_sentence(*result), result->name_a,
             present::grouped(result->flights_a), result->hours_a, result->name_b,
             present::grouped(result->flights_b), result->hours_b, name_of(result->method));
  const auto& f = result->first_last;
  if (const auto n = f.a_first + f.b_first + f.same_first; n > 0)
    fmt::print(
        "Of {} flights both heard, a was first for {:.0f}%, b for {:.0f}%; last a {}, b {}.\n", n,
        100.0 * static_cast<double>(f.a_first) / static_cast<double>(n),
        100.0 * static_cast<double>(f.b_first) / static_cast<double>(n), f.a_last, f.b_last);
  if (const auto& offset = result->swapped_offset)
    fmt::print("Swapped half-way: what was swapped differs by {:+.1f} dB ({:+.1f} to {:+.1f}).\n",
               offset->value_db, offset->low_db, offset->high_db);
  for (const auto& one : result->confounded)
    fmt::print("Confounded: {}. To resolve it: {}.\n", one.what, one.remedy);
  fmt::print("\n{}", table(*result, *units));
  return 0;
}

}  // namespace

void add_compare(CLI::App& app, Run& run) {
  auto command = std::make_shared<CompareCommand>();
  CLI::App& sub = *app.add_subcommand("compare", "which of two is better, by how much, where");
  sub.add_option("DB", command->database, "the database of roundeld")->required();
  sub.add_option("--a", command->a, "the first, like antenna=collinear,from=2026-03-01")
      ->required();
  sub.add_option("--b", command->b, "the second, like antenna=spider")->required();
  sub.add_option("--sector-deg", command->options.sector_deg, "width of a sector, degrees (5)");
  sub.add_option("--confidence", command->options.confidence, "of intervals (0.95)");
  sub.add_option("--units", command->units, "metric or aviation, for text (metric)");
  sub.add_flag("--summaries", command->options.from_summaries,
               "whole hours from their summaries: a week in a third of a second");
  sub.add_flag("--json", command->json, "print JSON");
  sub.add_option("--svg", command->svg, "also write a polar plot of the difference to this file");
  sub.add_option("--plan", command->plan_days,
                 "instead: a schedule for so many days, and the precision to expect");
  sub.callback([command, &run] { run = [command] { return run_compare(*command); }; });
}

}  // namespace roundel::program
