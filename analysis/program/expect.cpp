// roundel expect: what range to expect, and what limits it.
#include "roundel/site/expect.h"

#include <fmt/format.h>

#include <CLI/CLI.hpp>
#include <cmath>
#include <memory>

#include "analysis/program/about.h"
#include "analysis/program/command.h"
#include "analysis/program/selection.h"
#include "analysis/program/text_table.h"
#include "analysis/program/write_file.h"
#include "roundel/config/config.h"
#include "roundel/pattern/verdict.h"
#include "roundel/present/expect.h"
#include "roundel/schema/store.h"

namespace roundel::program {
namespace {

struct ExpectCommand {
  std::string database, config;
  SelectionOptions selection;
  std::vector<double> altitudes_ft{1'000, 3'000, 6'000, 18'000, 29'000, 38'000};
  double sector_deg = 5;
  std::string refraction, mask, terrain, survey;
  std::optional<double> pressure_hpa;
  std::string units = "metric";
  bool json = false;
  std::string svg;
};

using ColumnAlign = TextTable::Align;

std::string range_number(present::Units units, double range_km) {
  return fmt::format("{:.0f}", present::range_in(units, range_km));
}

std::string altitude_table(const site::Expectation& of, const std::vector<double>& altitudes_ft,
                           present::Units units) {
  const std::string range(present::range_unit(units));
  TextTable table({{"altitude", ColumnAlign::right},
                   {"horizon " + range, ColumnAlign::right},
                   {"4/3 Earth", ColumnAlign::right},
                   {"link " + range, ColumnAlign::right},
                   {"expected " + range, ColumnAlign::right},
                   {"limited by", ColumnAlign::left},
                   {"margin at horizon", ColumnAlign::right}});
  for (const double altitude_ft : altitudes_ft) {
    const auto at = of.altitude(altitude_ft);
    table.add({present::altitude_text(units, altitude_ft), range_number(units, at.horizon_km),
               range_number(units, at.horizon_effective_km), range_number(units, at.link_km),
               range_number(units, at.expected_km), std::string(site::name_of(at.cause)),
               fmt::format("{:+.1f} dB", at.margin_at_horizon_db)});
  }
  return table.text();
}

/// Only bearings on which mask or terrain takes more than 2 % of some range.
std::string bearing_table(const site::Expectation& of, const std::vector<double>& altitudes_ft,
                          double sector_deg, present::Units units) {
  std::vector<TextTable::Column> columns{{"bearing", ColumnAlign::left},
                                         {"mask", ColumnAlign::right}};
  for (const double altitude_ft : altitudes_ft)
    columns.push_back({present::altitude_text(units, altitude_ft), ColumnAlign::right});
  TextTable table(std::move(columns));
  for (double bearing_deg = sector_deg / 2; bearing_deg < 360; bearing_deg += sector_deg) {
    const auto mask_deg = of.mask_deg(bearing_deg);
    if (!mask_deg) continue;
    std::vector<std::string> cells{present::bearing_text(bearing_deg),
                                   fmt::format("{:.1f} deg", *mask_deg)};
    bool matters = false;
    for (const double altitude_ft : altitudes_ft) {
      const auto expected = of.expected(bearing_deg, altitude_ft);
      matters =
          matters || ((expected.cause == site::LimitCause::mask ||
                       expected.cause == site::LimitCause::terrain) &&
                      expected.range_km < 0.98 * of.horizon().limit_km(bearing_deg, altitude_ft));
      cells.push_back(fmt::format("{} {}", range_number(units, expected.range_km),
                                  site::name_of(expected.cause)));
    }
    if (matters) table.add(std::move(cells));
  }
  return table.empty() ? "" : table.text();
}

std::string help_table(const site::Expectation& of, const std::vector<double>& altitudes_ft,
                       present::Units units) {
  std::vector<TextTable::Column> columns{
      {"what would help, " + std::string(present::range_unit(units)), ColumnAlign::left}};
  for (const double altitude_ft : altitudes_ft)
    columns.push_back({present::altitude_text(units, altitude_ft), ColumnAlign::right});
  TextTable table(std::move(columns));
  for (const auto& help : of.help(altitudes_ft)) {
    std::vector<std::string> cells{help.what};
    for (const double gain_km : help.gain_km)
      cells.push_back(fmt::format("{:+.1f}", present::range_in(units, gain_km)));
    table.add(std::move(cells));
  }
  return table.text();
}

void print_text(const site::Expectation& of, const ExpectCommand& command, present::Units units) {
  const auto& link = of.settings().link;
  fmt::print("Range to expect, mean over bearings ({}; {} above the surrounding surface).\n\n",
             of.limit().method(),
             fmt::format("antenna {:.0f} m", of.viewpoint().antenna().height_m()));
  fmt::print("{}", altitude_table(of, command.altitudes_ft, units));
  fmt::print(
      "Link: {:.3g} dBm transponder, {} dipole{}, feeder {:.1f} dB, threshold {:.4g} dBm{}; "
      "median, "
      "half of all aircraft and hours do better.\n",
      link.power_dbm, link.elements, link.elements == 1 ? "" : "s", link.feeder.loss_db(),
      link.threshold_dbm, link.amplifier_db > 0 ? ", amplifier at the antenna" : ", no amplifier");
  if (of.settings().sea_level_hpa != site::standard_hpa)
    fmt::print("Pressure {:.6g} hPa: aircraft fly {:+.0f} m from their pressure altitude.\n",
               of.settings().sea_level_hpa, site::height_offset_m(of.settings().sea_level_hpa));
  if (const auto bearings = bearing_table(of, command.altitudes_ft, command.sector_deg, units);
      !bearings.empty())
    fmt::print("\nWhere mask or terrain matters:\n{}", bearings);
  for (const std::string& warning : of.warnings()) fmt::print("\n{}\n", warning);
  fmt::print("\n{}", help_table(of, command.altitudes_ft, units));
  fmt::print("\nBefore touching the mounting:\n");
  for (const std::string& caution : present::mounting_cautions()) fmt::print("- {}\n", caution);
}

Result<void> write_survey(const schema::Store& store, const ExpectCommand& command,
                          const site::Expectation& of) {
  const auto selection = command.selection.selection();
  if (!selection) return tl::unexpected(selection.error());
  const auto verdict = pattern::verdict(store, *selection, command.sector_deg, {});
  if (!verdict) return tl::unexpected(verdict.error());
  if (verdict->flights == 0)
    return fail(Errc::too_little, "nothing has been heard that a mask could be made of", "--survey",
                "record for some days first");
  const double dip_deg =
      of.refraction().dip_deg(of.viewpoint().radius_km(45), of.viewpoint().antenna().height_m());
  return write_file(command.survey,
                    present::survey_mask(*verdict, dip_deg, about(store, command.selection)));
}

Result<void> check(const ExpectCommand& command) {
  if (command.database.empty() && command.config.empty())
    return fail(Errc::bad_usage, "expect needs a site", "expect",
                "give a database or --config FILE");
  if (!command.survey.empty() && command.database.empty())
    return fail(Errc::bad_usage, "a survey needs what was heard", "--survey", "give a database");
  const double n = 360 / command.sector_deg;
  if (!(command.sector_deg >= 1 && command.sector_deg <= 45) || std::abs(n - std::round(n)) > 1e-9)
    return fail(Errc::bad_usage, fmt::format("sectors of {} degrees", command.sector_deg),
                "--sector-deg", "choose a width from 1 to 45 that divides 360, like 5 or 10");
  for (const double altitude_ft : command.altitudes_ft)
    if (!(altitude_ft > -1000 && altitude_ft <= 60'000))
      return fail(Errc::bad_usage, fmt::format("altitude {} ft", altitude_ft), "--altitude-ft",
                  "choose altitudes up to 60000, like 6000,38000");
  return {};
}

Result<int> run_expect(const ExpectCommand& command) {
  if (auto ok = check(command); !ok) return tl::unexpected(ok.error());
  const auto units = present::parse_units(command.units);
  if (!units) return tl::unexpected(units.error());
  schema::SiteRow site;
  site::ExpectSettings settings;
  if (!command.config.empty()) {
    auto config = config::load(command.config);
    if (!config) return tl::unexpected(config.error());
    site = config->site;
    settings = std::move(config->expect);
  }
  std::optional<schema::Store> store;
  if (!command.database.empty()) {
    auto opened = schema::Store::open(command.database, schema::Store::Access::read);
    if (!opened) return tl::unexpected(opened.error());
    store.emplace(std::move(*opened));
    const auto stored = store->site();
    if (!stored) return tl::unexpected(stored.error());
    if (!*stored && command.config.empty())
      return fail(Errc::not_found, "the database knows no site, so nothing has a horizon", "",
                  "give --config FILE with a [site]");
    if (command.config.empty()) site = **stored;
  }
  if (!command.refraction.empty()) {
    const auto method = site::parse_refraction(command.refraction);
    if (!method) return tl::unexpected(method.error());
    settings.refraction.method = *method;
  }
  if (!command.mask.empty()) settings.mask_file = command.mask;
  if (!command.terrain.empty()) settings.terrain_folder = command.terrain;
  if (command.pressure_hpa) settings.sea_level_hpa = *command.pressure_hpa;
  const auto expectation = site::Expectation::make(site, settings);
  if (!expectation) return tl::unexpected(expectation.error());
  if (!command.survey.empty())
    if (auto ok = write_survey(*store, command, *expectation); !ok)
      return tl::unexpected(ok.error());
  if (!command.svg.empty()) {
    const auto written =
        write_file(command.svg, present::expect_svg(*expectation, command.altitudes_ft,
                                                    command.sector_deg, *units, site.name));
    if (!written) return tl::unexpected(written.error());
  }
  if (command.json)
    fmt::print("{}\n",
               present::expect_json(*expectation, command.altitudes_ft, command.sector_deg));
  else
    print_text(*expectation, command, *units);
  return 0;
}

}  // namespace

void add_expect(CLI::App& app, Run& run) {
  auto command = std::make_shared<ExpectCommand>();
  CLI::App& sub =
      *app.add_subcommand("expect", "range to expect: horizon, mask, terrain and link budget");
  sub.add_option("DB", command->database, "the database of roundeld, for its site");
  sub.add_option("--config", command->config, "roundel.toml: site, mask, terrain, feeder, link");
  sub.add_option("--altitude-ft", command->altitudes_ft, "pressure altitudes, like 6000,38000")
      ->delimiter(',');
  sub.add_option("--refraction", command->refraction, "effective, ray or none (ray)");
  sub.add_option("--mask", command->mask, "a mask file, CSV of bearing_deg,elevation_deg");
  sub.add_option("--terrain", command->terrain, "a folder of elevation tiles like N52E019.hgt");
  sub.add_option("--pressure-hpa", command->pressure_hpa, "pressure at sea level (1013.25)");
  sub.add_option("--survey", command->survey, "write a mask file from what was heard");
  add_selection(sub, command->selection);
  sub.add_option("--sector-deg", command->sector_deg, "width of a sector, degrees (5)");
  sub.add_option("--units", command->units, "metric or aviation, for text and picture (metric)");
  sub.add_flag("--json", command->json, "print JSON");
  sub.add_option("--svg", command->svg, "also write a polar plot to this file");
  sub.callback([command, &run] { run = [command] { return run_expect(*command); }; });
}

}  // namespace roundel::program
