// roundel mast: the ripple that a mast, pole or feeder beside the antenna makes.
#include "roundel/present/mast.h"

#include <fmt/format.h>

#include <CLI/CLI.hpp>
#include <memory>
#include <nlohmann/json.hpp>

#include "analysis/program/command.h"
#include "analysis/program/selection.h"
#include "analysis/program/text_table.h"
#include "roundel/pattern/verdict.h"
#include "roundel/schema/store.h"
#include "roundel/trial/mast_fit.h"
#include "roundel/trial/mast_model.h"

namespace roundel::program {
namespace {

using trial::MastModel;

struct MastCommand {
  std::string database;
  SelectionOptions selection;
  std::optional<double> radius_mm;
  std::optional<double> spacing_mm;
  double bearing_deg = 0;
  bool json = false;
};

constexpr const char* caveat =
    "Holds for a mast and an element that run side by side and are long against the wavelength "
    "(275 mm). A mast that ends beside the element makes less; above the mast the ripple is zero "
    "(common practice). A feeder beside the element counts as a thin mast.\n";

// Gain against the mean over bearings, by 5 degrees.
std::vector<double> pattern_of(const MastModel& model, double bearing_deg) {
  std::vector<double> out;
  double mean = 0;
  for (int i = 0; i < 72; ++i) {
    out.push_back(model.gain_db(2.5 + 5 * i, bearing_deg));
    mean += out.back() / 72;
  }
  for (double& gain : out) gain -= mean;
  return out;
}

Result<int> fit(const MastCommand& command) {
  constexpr double sector_deg = 5;
  const auto selection = command.selection.selection();
  if (!selection) return tl::unexpected(selection.error());
  const auto store = schema::Store::open(command.database, schema::Store::Access::read);
  if (!store) return tl::unexpected(store.error());
  const auto verdict = pattern::verdict(*store, *selection, sector_deg, {});
  if (!verdict) return tl::unexpected(verdict.error());
  const trial::MastFit fitted = trial::fit_mast(verdict->curve);
  if (fitted.gain_db.empty())
    return fail(Errc::too_little, "too few bearings are known to fit a mast to", "",
                "wait for traffic, or choose others");
  if (command.json) {
    fmt::print("{}\n", present::mast_json(fitted));
    return 0;
  }
  using Align = TextTable::Align;
  TextTable table(
      {{"bearing", Align::right}, {"gain dB", Align::right}, {"mast dB", Align::right}});
  for (std::size_t s = 0; s < fitted.gain_db.size(); s += 2) {
    const auto& sector = verdict->sectors[s];
    table.add({fmt::format("{:05.1f}", sector.bearing_deg),
               sector.gain_db ? fmt::format("{:+.1f}", *sector.gain_db) : "-",
               fmt::format("{:+.1f}", fitted.gain_db[s])});
  }
  fmt::print("{}\n\n{}\n{}", present::mast_sentence(fitted), table.text(), caveat);
  return 0;
}

Result<int> plan(const MastCommand& command) {
  using Align = TextTable::Align;
  TextTable table(
      {{"spacing mm", Align::right}, {"wavelengths", Align::right}, {"ripple dB", Align::right}});
  nlohmann::ordered_json json;
  json["radius_mm"] = *command.radius_mm;
  json["spacings"] = nlohmann::ordered_json::array();
  for (const double spacing_mm :
       {50., 75., 100., 140., 200., 275., 400., 550., 800., 1100., 1600., 2200., 3000., 4400.}) {
    if (spacing_mm < 1.5 * *command.radius_mm) continue;
    const auto model = MastModel::make(*command.radius_mm, spacing_mm);
    if (!model) return tl::unexpected(model.error());
    table.add({fmt::format("{:.0f}", spacing_mm),
               fmt::format("{:.2f}", spacing_mm / trial::wavelength_mm),
               fmt::format("{:.1f}", model->ripple_db())});
    json["spacings"].push_back({{"spacing_mm", spacing_mm}, {"ripple_db", model->ripple_db()}});
  }
  if (command.json) {
    fmt::print("{}\n", json.dump(2));
    return 0;
  }
  fmt::print(
      "Ripple of an antenna beside a mast of {:g} mm radius, by the distance of their "
      "axes.\n\n{}\n{}",
      *command.radius_mm, table.text(), caveat);
  return 0;
}

Result<int> run_mast(const MastCommand& command) {
  if (command.database.empty() == !command.radius_mm)
    return fail(Errc::bad_usage, "mast takes either a database or a radius", "",
                "give DB to fit one to what was heard, or --radius-mm to plan");
  if (!command.radius_mm) return fit(command);
  if (!command.spacing_mm) {
    const auto possible = MastModel::make(*command.radius_mm, 20000);
    if (!possible) return tl::unexpected(possible.error());
    return plan(command);
  }
  const auto model = MastModel::make(*command.radius_mm, *command.spacing_mm);
  if (!model) return tl::unexpected(model.error());
  const auto pattern = pattern_of(*model, command.bearing_deg);
  if (command.json) {
    nlohmann::ordered_json json;
    json["ripple_db"] = model->ripple_db();
    json["pattern"] = nlohmann::ordered_json::array();
    for (std::size_t i = 0; i < pattern.size(); ++i)
      json["pattern"].push_back(
          {{"bearing_deg", 2.5 + 5 * static_cast<double>(i)}, {"gain_db", pattern[i]}});
    fmt::print("{}\n", json.dump(2));
    return 0;
  }
  using Align = TextTable::Align;
  TextTable table({{"bearing", Align::right}, {"gain dB", Align::right}});
  for (std::size_t i = 0; i < pattern.size(); i += 2)
    table.add({fmt::format("{:05.1f}", 2.5 + 5 * static_cast<double>(i)),
               fmt::format("{:+.1f}", pattern[i])});
  fmt::print(
      "A mast of {:g} mm radius at {:g} mm makes {:.1f} dB of ripple, peak to peak.\n\n"
      "{}\n{}",
      *command.radius_mm, *command.spacing_mm, model->ripple_db(), table.text(), caveat);
  return 0;
}

}  // namespace

void add_mast(CLI::App& app, Run& run) {
  auto command = std::make_shared<MastCommand>();
  CLI::App& sub = *app.add_subcommand("mast", "ripple that a mast makes; does one explain it?");
  sub.add_option("DB", command->database, "fit a mast to what this database holds");
  add_selection(sub, command->selection);
  sub.add_option("--radius-mm", command->radius_mm, "plan instead: radius of the mast, mm");
  sub.add_option("--spacing-mm", command->spacing_mm,
                 "mast axis to antenna axis, mm (left out: a table of spacings)");
  sub.add_option("--bearing-deg", command->bearing_deg, "of the mast from the antenna (0)");
  sub.add_flag("--json", command->json, "print JSON");
  sub.callback([command, &run] { run = [command] { return run_mast(*command); }; });
}

}  // namespace roundel::program
