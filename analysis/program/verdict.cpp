// roundel verdict: is it omnidirectional? Pattern, wall or antenna, and how sure.
#include "roundel/pattern/verdict.h"

#include <fmt/format.h>

#include <CLI/CLI.hpp>
#include <cmath>
#include <functional>
#include <map>
#include <memory>
#include <optional>

#include "analysis/program/about.h"
#include "analysis/program/command.h"
#include "analysis/program/selection.h"
#include "analysis/program/text_table.h"
#include "analysis/program/write_file.h"
#include "roundel/present/verdict.h"
#include "roundel/present/vertical_cut.h"
#include "roundel/schema/store.h"

namespace roundel::program {
namespace {

struct VerdictCommand {
  std::string database;
  SelectionOptions selection;
  double sector_deg = 5;
  pattern::VerdictOptions options;
  std::string units = "metric";
  bool json = false;
  std::string svg;
  std::optional<double> cut_deg;
};

std::string table(const pattern::Verdict& verdict, present::Units units) {
  using Align = TextTable::Align;
  TextTable out({{"bearing", Align::left},
                 {"gain dB", Align::right},
                 {"interval", Align::right},
                 {"state", Align::left},
                 {"cut-off", Align::right},
                 {"reach " + std::string(present::range_unit(units)), Align::right},
                 {"of horizon", Align::right},
                 {"flights", Align::right},
                 {"cells", Align::right}});
  const double half_deg = 180.0 / static_cast<double>(verdict.sectors.size());
  for (const auto& sector : verdict.sectors) {
    out.add(
        {present::bearing_text(sector.bearing_deg - half_deg) + "-" +
             present::bearing_text(sector.bearing_deg + half_deg),
         sector.gain_db ? fmt::format("{:+.1f}", *sector.gain_db) : "-",
         sector.gain_db ? fmt::format("{:+.1f} {:+.1f}", *sector.low_db, *sector.high_db) : "-",
         std::string(name_of(sector.state)),
         sector.cutoff_deg ? fmt::format("{:.1f} deg", *sector.cutoff_deg) : "-",
         sector.reach_km ? fmt::format("{:.0f}", present::range_in(units, *sector.reach_km)) : "-",
         sector.reach_km && sector.horizon_km
             ? fmt::format("{:.0f}%", 100 * *sector.reach_km / *sector.horizon_km)
             : "-",
         present::grouped(sector.flights), present::grouped(sector.cells)});
  }
  return out.text();
}

std::string method_lines(const pattern::Verdict& verdict) {
  std::string out = fmt::format(
      "Rate: {} sectors, standard error {:.2f} dB by flight; threshold softness {:.1f} dB, ceiling "
      "{:.0f}%, flights differ by {:.1f} dB.\n",
      verdict.rate.sectors, verdict.rate.rms_error_db, verdict.softness_db, 100 * verdict.ceiling,
      verdict.sigma_flight_db);
  if (verdict.strength.used)
    out += fmt::format("Strength: {} sectors, standard error {:.2f} dB; {}.\n",
                       verdict.strength.sectors, verdict.strength.rms_error_db,
                       present::difference_of_methods(verdict));
  else if (!verdict.strength.remark.empty())
    out += fmt::format("Strength: not used, {}.\n", verdict.strength.remark);
  std::string orders;
  for (const auto& harmonic : verdict.harmonics) {
    if (harmonic.low_db <= 0) continue;
    orders +=
        fmt::format("{}order {}: {:.1f} dB ({:.1f} to {:.1f}), maximum at {} degrees",
                    orders.empty() ? "" : "; ", harmonic.order, harmonic.amplitude_db,
                    harmonic.low_db, harmonic.high_db, present::bearing_text(harmonic.phase_deg));
  }
  if (verdict.curve.n() > 0)
    out += "Harmonics: " + (orders.empty() ? "none stands out of the noise" : orders) + ".\n";
  if (!verdict.elevation.empty()) {
    out += fmt::format("Gain by elevation, against {:.1f} degrees:",
                       verdict.elevation.front().elevation_deg);
    for (std::size_t i = 1; i < verdict.elevation.size(); i += 2) {
      const auto& one = verdict.elevation[i];
      out += fmt::format(" {:.0f} deg {:+.1f} dB ({:+.1f} to {:+.1f});", one.elevation_deg,
                         one.gain_db, one.low_db, one.high_db);
    }
    out.back() = '.';
    out += '\n';
  }
  if (verdict.lean)
    out += fmt::format(
        "Lean: the antenna is off the vertical by {:.1f} degrees ({:.1f} to {:.1f}). Its beam "
        "points "
        "up towards {} and down towards {} degrees.\n",
        verdict.lean->lean_deg, verdict.lean->low_deg, verdict.lean->high_deg,
        present::bearing_text(verdict.lean->towards_deg),
        present::bearing_text(std::fmod(verdict.lean->towards_deg + 180, 360)));
  return out;
}

// Share heard by altitude, highest first, and by range.
std::string table(const pattern::Cut& cut, present::Units units) {
  constexpr double column_km = 50;
  struct Sum {
    std::int64_t heard{}, expected{};
  };
  std::map<double, std::map<int, Sum>, std::greater<>> rows;
  int last = 0;
  for (const auto& bin : cut.bins) {
    const int column = static_cast<int>(bin.middle.range_km / column_km);
    last = std::max(last, column);
    Sum& sum = rows[bin.middle.altitude_ft][column];
    sum.heard += bin.heard;
    sum.expected += bin.expected;
  }
  std::vector<TextTable::Column> columns{
      {"above " + std::string(present::altitude_unit(units)), TextTable::Align::right}};
  for (int column = 0; column <= last; ++column)
    columns.push_back({fmt::format("{:.0f}-{:.0f} {}", present::range_in(units, column * column_km),
                                   present::range_in(units, (column + 1) * column_km),
                                   present::range_unit(units)),
                       TextTable::Align::right});
  TextTable out(std::move(columns));
  for (const auto& [altitude_ft, sums] : rows) {
    std::vector<std::string> cells{present::grouped(
        std::lround(present::altitude_in(units, altitude_ft - cut.altitude_step_ft / 2)))};
    for (int column = 0; column <= last; ++column) {
      const auto sum = sums.find(column);
      cells.push_back(sum == sums.end()
                          ? "-"
                          : fmt::format("{:.0f}%", 100 * static_cast<double>(sum->second.heard) /
                                                       static_cast<double>(sum->second.expected)));
    }
    out.add(std::move(cells));
  }
  return out.text();
}

Result<int> show_cut(const VerdictCommand& command, const schema::Store& store,
                     const schema::Selection& which, present::Units units) {
  pattern::CutOptions options;
  options.bearing_deg = *command.cut_deg;
  options.sector_deg = command.sector_deg;
  options.from_summaries = command.options.from_summaries;
  const auto cut = pattern::cut(store, which, options);
  if (!cut) return tl::unexpected(cut.error());
  if (!command.svg.empty()) {
    const auto written =
        write_file(command.svg, present::cut_svg(*cut, units, about(store, command.selection)));
    if (!written) return tl::unexpected(written.error());
  }
  if (command.json) {
    fmt::print("{}\n", present::cut_json(*cut));
    return 0;
  }
  fmt::print("{}\n", present::cut_sentence(*cut, units));
  if (!cut->bins.empty())
    fmt::print("\n{}\nShare of reports heard. -: no traffic there.\n", table(*cut, units));
  return 0;
}

Result<int> run_verdict(const VerdictCommand& command) {
  const auto units = present::parse_units(command.units);
  if (!units) return tl::unexpected(units.error());
  const auto selection = command.selection.selection();
  if (!selection) return tl::unexpected(selection.error());
  const auto store = schema::Store::open(command.database, schema::Store::Access::read);
  if (!store) return tl::unexpected(store.error());
  if (command.cut_deg) return show_cut(command, *store, *selection, *units);
  const auto verdict = pattern::verdict(*store, *selection, command.sector_deg, command.options);
  if (!verdict) return tl::unexpected(verdict.error());
  if (!command.svg.empty()) {
    const auto written =
        write_file(command.svg, present::verdict_svg(*verdict, about(*store, command.selection)));
    if (!written) return tl::unexpected(written.error());
  }
  if (command.json) {
    const auto trials = store->trials(*selection);
    if (!trials) return tl::unexpected(trials.error());
    std::vector<schema::Id> ids;
    for (const auto& trial : *trials) ids.push_back(trial.id);
    fmt::print("{}\n", present::verdict_json(*verdict, ids));
    return 0;
  }
  fmt::print("{}\n", present::verdict_sentence(*verdict));
  if (verdict->flights > 0) fmt::print("\n{}\n{}", table(*verdict, *units), method_lines(*verdict));
  const auto advice = present::verdict_advice(*verdict);
  if (!advice.empty()) fmt::print("\nAdvice:\n");
  for (const std::string& line : advice) fmt::print("- {}\n", line);
  return 0;
}

}  // namespace

void add_verdict(CLI::App& app, Run& run) {
  auto command = std::make_shared<VerdictCommand>();
  CLI::App& sub = *app.add_subcommand("verdict", "is it omnidirectional? pattern, wall or antenna");
  sub.add_option("DB", command->database, "the database of roundeld")->required();
  add_selection(sub, command->selection);
  sub.add_option("--sector-deg", command->sector_deg, "width of a sector, degrees (5)");
  sub.add_option("--tolerance-db", command->options.tolerance_db,
                 "peak-to-peak ripple that counts as omnidirectional (3)");
  sub.add_option("--confidence", command->options.confidence, "of intervals and verdict (0.95)");
  sub.add_option("--units", command->units, "metric or aviation, for text (metric)");
  sub.add_flag("--summaries", command->options.from_summaries,
               "whole hours from their summaries: a week in a third of a second");
  sub.add_flag("--json", command->json, "print JSON");
  sub.add_option("--svg", command->svg, "also write a polar plot of gain to this file");
  sub.add_option("--cut", command->cut_deg, "instead: this bearing from the side, degrees");
  sub.callback([command, &run] { run = [command] { return run_verdict(*command); }; });
}

}  // namespace roundel::program
