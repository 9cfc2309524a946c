// roundel export: what was recorded and concluded, in open formats.
#include "roundel/present/export.h"

#include <fmt/format.h>

#include <CLI/CLI.hpp>
#include <algorithm>
#include <cstdio>
#include <memory>

#include "analysis/program/about.h"
#include "analysis/program/cells_files.h"
#include "analysis/program/command.h"
#include "analysis/program/selection.h"
#include "analysis/program/write_file.h"
#include "roundel/pattern/verdict.h"
#include "roundel/present/reach.h"
#include "roundel/present/units.h"
#include "roundel/present/verdict.h"
#include "roundel/present/vertical_cut.h"
#include "roundel/schema/store.h"

namespace roundel::program {
namespace {

struct ExportCommand {
  std::string database, as, to;
  SelectionOptions selection;
  double sector_deg = 5;
  std::string units = "metric";
  std::string picture = "reach";
  double bearing_deg = 0;
  bool cells = false;
};

Result<int> put(const std::string& to, const std::string& text) {
  if (to.empty()) {
    std::fwrite(text.data(), 1, text.size(), stdout);
    if (std::fflush(stdout) != 0)
      return fail(Errc::io, "cannot be written", "standard output", "is the disk full?");
    return 0;
  }
  if (auto written = write_file(to, text); !written) return tl::unexpected(written.error());
  return 0;
}

Result<int> export_cells(const ExportCommand& command, const schema::Store& store,
                         const schema::Selection& which) {
  if (!command.as.empty() && command.as != "csv")
    return fail(Errc::bad_usage, fmt::format("cells are written as csv, not {}", command.as),
                "--as", "leave --as or --cells out");
  if (command.to.empty()) {
    if (auto written = write_cells(store, which, stdout); !written)
      return tl::unexpected(written.error());
    return 0;
  }
  const auto n_cells =
      write_cells_by_day(store, which, about(store, command.selection), command.to);
  if (!n_cells) return tl::unexpected(n_cells.error());
  fmt::print("{} cells under {}, described by {}/csv-metadata.json\n", present::grouped(*n_cells),
             command.to, command.to);
  return 0;
}

Result<int> run_export(const ExportCommand& command) {
  if (command.as == "views") return put(command.to, std::string(present::views_sql()));
  if (command.database.empty())
    return fail(Errc::bad_usage, "no database was named", "DB", "see roundel export --help");
  const auto units = present::parse_units(command.units);
  if (!units) return tl::unexpected(units.error());
  const auto selection = command.selection.selection();
  if (!selection) return tl::unexpected(selection.error());
  const auto store = schema::Store::open(command.database, schema::Store::Access::read);
  if (!store) return tl::unexpected(store.error());
  if (command.cells) return export_cells(command, *store, *selection);
  if (command.as.empty())
    return fail(Errc::bad_usage, "what to write was not said", "--as",
                "choose csv, geojson, kml, svg or views, or --cells");

  const std::string title = about(*store, command.selection);
  if (command.as == "svg" && command.picture == "cut") {
    pattern::CutOptions of;
    of.bearing_deg = command.bearing_deg;
    of.sector_deg = command.sector_deg;
    return pattern::cut(*store, *selection, of).and_then([&](const pattern::Cut& cut) {
      return put(command.to, present::cut_svg(cut, *units, title));
    });
  }
  pattern::ReachOptions options;
  options.sector_deg = command.sector_deg;
  const auto reach = pattern::reach(*store, *selection, options);
  if (!reach) return tl::unexpected(reach.error());
  if (command.as == "svg" && command.picture == "reach")
    return put(command.to, present::reach_svg(*reach, *units, title));
  const auto verdict = pattern::verdict(*store, *selection, command.sector_deg, {});
  // Several antennas at once have ranges, but no one pattern.
  if (!verdict && (verdict.error().code != Errc::bad_usage || command.as == "svg"))
    return tl::unexpected(verdict.error());
  const auto site = store->site();
  if (!site) return tl::unexpected(site.error());
  if (command.as == "svg") return put(command.to, present::verdict_svg(*verdict, title));
  const present::Conclusion of{title, **site, *reach, verdict ? &*verdict : nullptr};
  if (!verdict)
    fmt::print(stderr, "roundel: without gain and states: {}\n", verdict.error().line());
  if (command.as == "csv") return put(command.to, present::sectors_csv(of));
  if (command.as == "geojson") return put(command.to, present::reach_geojson(of));
  return put(command.to, present::reach_kml(of));
}

}  // namespace

void add_export(CLI::App& app, Run& run) {
  auto command = std::make_shared<ExportCommand>();
  CLI::App& sub = *app.add_subcommand("export", "results and cells in open formats");
  sub.add_option("DB", command->database, "the database of roundeld")->type_name("");
  sub.add_option("--as", command->as, "csv, geojson, kml, svg, or views (SQL)")
      ->type_name("FORMAT")
      ->check(CLI::IsMember({"csv", "geojson", "kml", "svg", "views"}));
  sub.add_flag("--cells", command->cells, "every cell as CSV; with -o gzip files by day");
  sub.add_option("-o,--output", command->to, "file, or folder for --cells (standard output)")
      ->type_name("PATH");
  sub.add_option("--picture", command->picture, "of svg: reach, gain, or cut (reach)")
      ->type_name("WHICH")
      ->check(CLI::IsMember({"reach", "gain", "cut"}));
  sub.add_option("--bearing-deg", command->bearing_deg, "of the cut (0)")->type_name("DEG");
  sub.add_option("--sector-deg", command->sector_deg, "width of a sector, degrees (5)")
      ->type_name("DEG");
  sub.add_option("--units", command->units, "metric or aviation, for svg (metric)")
      ->type_name("WHICH");
  add_selection(sub, command->selection);
  sub.callback([command, &run] { run = [command] { return run_export(*command); }; });
}

}  // namespace roundel::program
