// roundel mast: the ripple that a mast, pole or feeder beside the antenna makes.
#include <fmt/format.h>

#include <CLI/CLI.hpp>
#include <memory>
#include <nlohmann/json.hpp>

#include "analysis/program/command.h"
#include "analysis/program/text_table.h"
#include "roundel/trial/mast_model.h"

namespace roundel::program {
namespace {

using trial::MastModel;

struct MastCommand {
  double radius_mm = 0;
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

Result<int> plan(const MastCommand& command) {
  using Align = TextTable::Align;
  TextTable table(
      {{"spacing mm", Align::right}, {"wavelengths", Align::right}, {"ripple dB", Align::right}});
  nlohmann::ordered_json json;
  json["radius_mm"] = command.radius_mm;
  json["spacings"] = nlohmann::ordered_json::array();
  for (const double spacing_mm :
       {50., 75., 100., 140., 200., 275., 400., 550., 800., 1100., 1600., 2200., 3000., 4400.}) {
    if (spacing_mm < 1.5 * command.radius_mm) continue;
    const auto model = MastModel::make(command.radius_mm, spacing_mm);
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
      command.radius_mm, table.text(), caveat);
  return 0;
}

Result<int> run_mast(const MastCommand& command) {
  if (!command.spacing_mm) {
    const auto possible = MastModel::make(command.radius_mm, 20000);
    if (!possible) return tl::unexpected(possible.error());
    return plan(command);
  }
  const auto model = MastModel::make(command.radius_mm, *command.spacing_mm);
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
      command.radius_mm, *command.spacing_mm, model->ripple_db(), table.text(), caveat);
  return 0;
}

}  // namespace

void add_mast(CLI::App& app, Run& run) {
  auto command = std::make_shared<MastCommand>();
  CLI::App& sub = *app.add_subcommand("mast", "ripple that a mast beside the antenna makes");
  sub.add_option("--radius-mm", command->radius_mm, "radius of the mast, mm")->required();
  sub.add_option("--spacing-mm", command->spacing_mm,
                 "mast axis to antenna axis, mm (left out: a table of spacings)");
  sub.add_option("--bearing-deg", command->bearing_deg, "of the mast from the antenna (0)");
  sub.add_flag("--json", command->json, "print JSON");
  sub.callback([command, &run] { run = [command] { return run_mast(*command); }; });
}

}  // namespace roundel::program
