// roundel reach: how far on each bearing, held against the radio horizon.
#include "roundel/pattern/reach.h"

#include <fmt/format.h>

#include <CLI/CLI.hpp>
#include <cstdio>
#include <memory>

#include "analysis/program/about.h"
#include "analysis/program/command.h"
#include "analysis/program/selection.h"
#include "analysis/program/text_table.h"
#include "analysis/program/write_file.h"
#include "roundel/config/config.h"
#include "roundel/present/reach.h"
#include "roundel/schema/store.h"
#include "roundel/site/expect.h"

namespace roundel::program {
namespace {

struct ReachCommand {
  std::string database;
  SelectionOptions selection;
  double sector_deg = 5;
  std::string units = "metric";
  bool json = false;
  std::string svg;
  std::string config, refraction;
  bool summaries = false;
};

std::string number(double value) { return fmt::format("{:.0f}", value); }

std::string quartiles_text(const std::optional<pattern::Quartiles>& of, present::Units units) {
  if (!of) return "-";
  const auto in = [&](double range_km) { return number(present::range_in(units, range_km)); };
  return fmt::format("{} ({}-{})", in(of->median_km), in(of->low_km), in(of->high_km));
}

std::string half_rate_text(const std::optional<pattern::HalfRate>& of, present::Units units) {
  if (!of) return "-";
  const auto in = [&](double range_km) { return number(present::range_in(units, range_km)); };
  return fmt::format("{} ({}-{})", in(of->range_km), in(of->low_km),
                     of->high_km ? in(*of->high_km) : "");
}

std::string band_heading(const pattern::ReachBand& band, present::Units units) {
  const auto thousands = [&](double altitude_ft) {
    return fmt::format("{:.3g}", present::altitude_in(units, altitude_ft) / 1000);
  };
  if (!band.high_ft) return "above " + thousands(band.low_ft);
  if (band.low_ft == 0) return "below " + thousands(*band.high_ft);
  return fmt::format("{}-{}", thousands(band.low_ft), thousands(*band.high_ft));
}

std::string table(const pattern::Reach& reach, present::Units units) {
  using Align = TextTable::Align;
  const std::string range(present::range_unit(units));
  const std::string altitude(present::altitude_unit(units));
  std::vector<TextTable::Column> columns{{"bearing", Align::left},
                                         {"reach " + range, Align::right},
                                         {"altitude " + altitude, Align::right},
                                         {"horizon " + range, Align::right},
                                         {"ratio", Align::right},
                                         {"expected " + range, Align::right}};
  for (const auto& band : reach.sectors[0].by_altitude)
    columns.push_back({band_heading(band, units), Align::right});
  for (const char* heading : {"half rate", "first heard", "last heard", "flights", "cells"})
    columns.push_back({heading, Align::right});
  TextTable out(std::move(columns));
  for (const auto& sector : reach.sectors) {
    const double half_deg = reach.sector_deg / 2;
    std::vector<std::string> cells{present::bearing_text(sector.bearing_deg - half_deg) + "-" +
                                   present::bearing_text(sector.bearing_deg + half_deg)};
    if (const auto& far = sector.farthest) {
      cells.push_back(number(present::range_in(units, far->range_km)));
      cells.push_back(grouped(std::lround(present::altitude_in(units, far->altitude_ft))));
      cells.push_back(number(present::range_in(units, far->horizon_km)));
      cells.push_back(fmt::format("{:.0f}%", 100 * far->ratio()));
      cells.push_back(sector.expected_km
                          ? fmt::format("{} {}",
                                        number(present::range_in(units, *sector.expected_km)),
                                        site::name_of(sector.expected_cause))
                          : "-");
    } else {
      cells.insert(cells.end(), 5, "-");
    }
    for (const auto& band : sector.by_altitude)
      cells.push_back(band.farthest ? number(present::range_in(units, band.farthest->range_km))
                                    : "-");
    cells.push_back(half_rate_text(sector.half_rate, units));
    cells.push_back(quartiles_text(sector.first_heard, units));
    cells.push_back(quartiles_text(sector.last_heard, units));
    cells.push_back(grouped(sector.flights));
    cells.push_back(grouped(sector.cells));
    out.add(std::move(cells));
  }
  return out.text();
}

std::string explanation(const pattern::Reach& reach, present::Units units) {
  return fmt::format(
      "Reach: farthest range that three reports of one flight within a minute support; ratio: to "
      "the horizon ({}) at its height.\n"
      "Columns by altitude in thousands of {}: reach of aircraft there, {}. Half rate: where half "
      "of the reports get through (95% interval, by flight).\n"
      "Expected: the least of horizon, mask, terrain and link budget for that aircraft, and which "
      "it "
      "is (see roundel expect).\n"
      "First, last heard: median (quartiles) of flights above {}. -: nothing to tell it from.\n",
      reach.limit_method, present::altitude_unit(units), present::range_unit(units),
      present::altitude_text(units, 10'000));
}

Result<int> run_reach(const ReachCommand& command) {
  const auto units = present::parse_units(command.units);
  if (!units) return tl::unexpected(units.error());
  const auto selection = command.selection.selection();
  if (!selection) return tl::unexpected(selection.error());
  const auto store = schema::Store::open(command.database, schema::Store::Access::read);
  if (!store) return tl::unexpected(store.error());
  pattern::ReachOptions options;
  options.sector_deg = command.sector_deg;
  options.from_summaries = command.summaries;
  site::ExpectSettings expect;
  if (!command.config.empty()) {
    auto config = config::load(command.config);
    if (!config) return tl::unexpected(config.error());
    expect = std::move(config->expect);
  }
  if (!command.refraction.empty()) {
    const auto method = site::parse_refraction(command.refraction);
    if (!method) return tl::unexpected(method.error());
    expect.refraction.method = *method;
  }
  options.refraction = expect.refraction;
  options.sea_level_hpa = expect.sea_level_hpa;
  auto reach = pattern::reach(*store, *selection, options);
  if (!reach) return tl::unexpected(reach.error());
  const auto site = store->site();
  if (!site) return tl::unexpected(site.error());
  const auto expectation = site::Expectation::make(**site, expect);
  if (!expectation) return tl::unexpected(expectation.error());
  pattern::expect(*reach, expectation->limit());
  if (!command.svg.empty()) {
    const auto written = write_file(
        command.svg, present::reach_svg(*reach, *units, about(*store, command.selection)));
    if (!written) return tl::unexpected(written.error());
  }
  if (command.json) {
    fmt::print("{}\n", present::reach_json(*reach));
    return 0;
  }
  fmt::print("{}\n", present::reach_sentence(*reach, *units));
  if (const auto beyond = present::beyond_sentence(*reach, *units); !beyond.empty())
    fmt::print("{}\n", beyond);
  if (reach->farthest) fmt::print("\n{}\n{}", table(*reach, *units), explanation(*reach, *units));
  return 0;
}

}  // namespace

void add_reach(CLI::App& app, Run& run) {
  auto command = std::make_shared<ReachCommand>();
  CLI::App& sub =
      *app.add_subcommand("reach", "how far on each bearing, against the radio horizon");
  sub.add_option("DB", command->database, "the database of roundeld")->required();
  add_selection(sub, command->selection);
  sub.add_option("--sector-deg", command->sector_deg, "width of a sector, degrees (5)");
  sub.add_option("--units", command->units, "metric or aviation, for text and picture (metric)");
  sub.add_option("--config", command->config,
                 "roundel.toml, for refraction, mask, terrain and link of what is expected");
  sub.add_option("--refraction", command->refraction,
                 "of the horizon: effective, ray or none (ray)");
  sub.add_flag("--summaries", command->summaries,
               "whole hours from their summaries: a year in a second");
  sub.add_flag("--json", command->json, "print JSON");
  sub.add_option("--svg", command->svg, "also write a polar plot to this file");
  sub.callback([command, &run] { run = [command] { return run_reach(*command); }; });
}

}  // namespace roundel::program
