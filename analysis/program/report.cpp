// roundel report: everything about one antenna on a page to hand over.
#include "roundel/present/report.h"

#include <fmt/format.h>

#include <CLI/CLI.hpp>
#include <algorithm>
#include <memory>

#include "analysis/program/command.h"
#include "analysis/program/report_parts.h"
#include "analysis/program/selection.h"
#include "analysis/program/write_file.h"
#include "roundel/config/config.h"
#include "roundel/schema/store.h"
#include "roundel/time.h"

namespace roundel::program {
namespace {

struct ReportCommand {
  std::string database, to, against, config;
  SelectionOptions selection;
  double sector_deg = 5;
  pattern::VerdictOptions options;
  std::string units = "metric";
  std::string question = "Is the antenna omnidirectional, and does it reach as far as it should?";
};

/// As it would be typed, without what was left as it is by default.
std::string typed(const ReportCommand& command) {
  std::string out = "roundel report " + command.database;
  const auto add = [&](const char* option, const std::string& value) {
    if (!value.empty()) out += fmt::format(" --{} {}", option, value);
  };
  const auto& of = command.selection;
  add("antenna", of.antenna);
  add("receiver", of.receiver);
  add("mount", of.mount);
  add("feed", of.feed);
  for (const schema::Id trial : of.trials) add("trial", std::to_string(trial));
  add("from", of.from);
  add("to", of.to);
  const ReportCommand usual;
  if (command.sector_deg != usual.sector_deg)
    add("sector-deg", fmt::format("{:g}", command.sector_deg));
  if (command.options.tolerance_db != usual.options.tolerance_db)
    add("tolerance-db", fmt::format("{:g}", command.options.tolerance_db));
  if (command.options.confidence != usual.options.confidence)
    add("confidence", fmt::format("{:g}", command.options.confidence));
  if (command.units != usual.units) add("units", command.units);
  add("config", command.config);
  add("against", command.against);
  return out;
}

/// "Hill house, collinear": a verdict is about one antenna, whether the selection names it or not.
std::string title(const schema::SiteRow& site, const std::vector<schema::Trial>& trials) {
  return trials.empty() ? site.name : site.name + ", " + trials.front().antenna;
}

/// What became of the reports of the selected trials' feeds.
Result<std::vector<present::FeedQuality>> quality(const schema::Store& store,
                                                  const schema::Selection& which,
                                                  const std::vector<schema::Trial>& trials) {
  const auto feeds = store.feeds();
  if (!feeds) return tl::unexpected(feeds.error());
  const auto whole = [](const std::optional<double>& time_s) {
    return time_s ? std::optional(static_cast<std::int64_t>(*time_s)) : std::nullopt;
  };
  std::vector<present::FeedQuality> out;
  for (const schema::Named& feed : *feeds) {
    const bool is_used = std::any_of(trials.begin(), trials.end(), [&](const schema::Trial& trial) {
      return trial.feed == feed.name;
    });
    if (!is_used) continue;
    present::FeedQuality of{feed.name, {}, 0};
    auto tally = store.tally(feed.id, whole(which.from_s), whole(which.to_s));
    if (!tally) return tl::unexpected(tally.error());
    of.tally = std::move(*tally);
    const auto coverage = store.coverage(feed.id);
    if (!coverage) return tl::unexpected(coverage.error());
    for (const schema::Coverage& interval : *coverage) {
      const auto from_s = std::max(interval.from_s, whole(which.from_s).value_or(interval.from_s));
      const auto to_s = std::min(interval.to_s, whole(which.to_s).value_or(interval.to_s));
      of.recorded_s += std::max<std::int64_t>(0, to_s - from_s);
    }
    out.push_back(std::move(of));
  }
  return out;
}

/// Remarks of the selection's time that are about its trials, or about none.
std::vector<schema::Note> notes_of(std::vector<schema::Note> notes, const schema::Selection& which,
                                   const std::vector<schema::Trial>& trials) {
  std::erase_if(notes, [&](const schema::Note& note) {
    const auto time_s = static_cast<double>(note.time_s);
    if ((which.from_s && time_s < *which.from_s) || (which.to_s && time_s >= *which.to_s))
      return true;
    return note.trial &&
           std::none_of(trials.begin(), trials.end(),
                        [&](const schema::Trial& trial) { return trial.id == *note.trial; });
  });
  return notes;
}

/// Adds the trials of what is compared with: what was mounted when is told of both.
Result<void> add_trials(const schema::Store& store, std::string_view against,
                        std::vector<schema::Trial>& trials) {
  const auto which = parse_selection(against, "--against");
  if (!which) return tl::unexpected(which.error());
  auto others = store.trials(*which);
  if (!others) return tl::unexpected(others.error());
  for (schema::Trial& other : *others)
    if (std::none_of(trials.begin(), trials.end(),
                     [&](const schema::Trial& trial) { return trial.id == other.id; }))
      trials.push_back(std::move(other));
  std::sort(trials.begin(), trials.end(),
            [](const auto& a, const auto& b) { return a.start_s < b.start_s; });
  return {};
}

Result<int> run_report(const ReportCommand& command) {
  const auto units = present::parse_units(command.units);
  if (!units) return tl::unexpected(units.error());
  const auto which = command.selection.selection();
  if (!which) return tl::unexpected(which.error());
  const auto store = schema::Store::open(command.database, schema::Store::Access::read);
  if (!store) return tl::unexpected(store.error());
  const auto verdict = pattern::verdict(*store, *which, command.sector_deg, command.options);
  if (!verdict) return tl::unexpected(verdict.error());
  pattern::ReachOptions options;
  options.sector_deg = command.sector_deg;
  const auto reach = pattern::reach(*store, *which, options);
  if (!reach) return tl::unexpected(reach.error());
  const auto site = store->site();
  if (!site) return tl::unexpected(site.error());
  const auto viewpoint = site::Viewpoint::from(**site);  // reach() has found the site sound
  if (!viewpoint) return tl::unexpected(viewpoint.error());
  auto trials = store->trials(*which);
  if (!trials) return tl::unexpected(trials.error());
  auto notes = store->notes();
  if (!notes) return tl::unexpected(notes.error());
  auto feeds = quality(*store, *which, *trials);
  if (!feeds) return tl::unexpected(feeds.error());

  present::ReportPage page{command.question,
                           title(**site, *trials),
                           typed(command),
                           now_s(),
                           *units,
                           **site,
                           *viewpoint,
                           *reach,
                           *verdict,
                           std::move(*trials),
                           {},
                           std::move(*feeds),
                           {}};
  site::ExpectSettings expect;
  if (!command.config.empty()) {
    auto config = config::load(command.config);
    if (!config) return tl::unexpected(config.error());
    expect = std::move(config->expect);
  }
  auto expected = expectation_part(**site, expect, *units);
  if (!expected) return tl::unexpected(expected.error());
  page.parts.push_back(std::move(*expected));
  if (!command.against.empty()) {
    auto part = comparison_part(*store, *which, command.against, command.sector_deg,
                                command.options.confidence);
    if (!part) return tl::unexpected(part.error());
    page.parts.push_back(std::move(*part));
    if (auto added = add_trials(*store, command.against, page.trials); !added)
      return tl::unexpected(added.error());
  }
  auto changed = drift_part(*store, *which);
  if (!changed) return tl::unexpected(changed.error());
  page.parts.push_back(std::move(*changed));
  page.notes = notes_of(std::move(*notes), *which, page.trials);
  if (auto written = write_file(command.to, present::report_html(page)); !written)
    return tl::unexpected(written.error());
  fmt::print("{}: read it in any browser; to hand it over on paper or as PDF, print it there\n",
             command.to);
  return 0;
}

}  // namespace

void add_report(CLI::App& app, Run& run) {
  auto command = std::make_shared<ReportCommand>();
  CLI::App& sub = *app.add_subcommand("report", "one page to hand over: HTML that prints");
  sub.add_option("DB", command->database, "the database of roundeld")->required()->type_name("");
  sub.add_option("-o,--output", command->to, "the page to write")
      ->required()
      ->type_name("FILE.html");
  sub.add_option("--config", command->config, "roundel.toml: mask, terrain, link of what to expect")
      ->type_name("FILE");
  sub.add_option("--against", command->against, "also compare with this, like antenna=spider")
      ->type_name("KEY=VALUE,...");
  sub.add_option("--question", command->question, "its heading, what you wanted to know")
      ->type_name("TEXT");
  sub.add_option("--sector-deg", command->sector_deg, "width of a sector, degrees (5)")
      ->type_name("DEG");
  sub.add_option("--tolerance-db", command->options.tolerance_db,
                 "ripple that counts as omnidirectional (3)")
      ->type_name("DB");
  sub.add_option("--confidence", command->options.confidence, "of intervals, verdict (0.95)")
      ->type_name("SHARE");
  sub.add_option("--units", command->units, "metric or aviation (metric)")->type_name("WHICH");
  add_selection(sub, command->selection);
  sub.callback([command, &run] { run = [command] { return run_report(*command); }; });
}

}  // namespace roundel::program
