#include "analysis/program/status.h"

#include <fmt/format.h>

#include <cmath>
#include <cstdio>
#include <memory>
#include <set>
#include <utility>

#include "analysis/program/command.h"
#include "analysis/program/text_table.h"
#include "roundel/pattern/summary.h"
#include "roundel/present/feed_warnings.h"
#include "roundel/present/store_json.h"
#include "roundel/present/units.h"
#include "roundel/time.h"

namespace roundel::program {
namespace {

ReportCounts counts_of(const schema::Tally& tally) {
  ReportCounts counts;
  for (const auto& [kind, count] : tally) {
    if (kind == "received")
      counts.received = count;
    else if (kind == "stored")
      counts.stored = count;
    else if (kind == "repeat")
      counts.repeats = count;
    else
      counts.rejected[kind] = count;
  }
  return counts;
}

std::string time_text(std::optional<std::int64_t> time_s) {
  return time_s ? format_time(static_cast<double>(*time_s)) : "-";
}

std::string duration_text(double duration_s) {
  if (duration_s < 120) return fmt::format("{:.1f} s", duration_s);
  if (duration_s < 2 * 3600) return fmt::format("{:.0f} min", duration_s / 60);
  if (duration_s < 2 * 86400) return fmt::format("{:.1f} h", duration_s / 3600);
  return fmt::format("{:.1f} days", duration_s / 86400);
}

std::string offset_text(const std::optional<schema::FeedClock>& clock) {
  if (!clock) return "-";
  const double offset_s = clock->feed_time_s - clock->arrival_s;
  if (std::abs(offset_s) < 0.05) return "right";
  return duration_text(std::abs(offset_s)) + (offset_s < 0 ? " behind" : " ahead");
}

std::string trial_text(const std::optional<schema::Trial>& trial) {
  if (!trial) return "no trial runs";
  return fmt::format("{}: {} on {} at {:g} deg, {}", trial->id, trial->antenna, trial->mount,
                     trial->rotation_deg, trial->receiver);
}

// One row a reason, one column a feed: what the feed is made of that was not kept.
std::string rejects_text(const Status& status) {
  std::set<std::string> reasons;
  std::vector<TextTable::Column> columns{{"rejected", TextTable::Align::left}};
  for (const FeedStatus& feed : status.feeds) {
    columns.push_back({feed.name});
    for (const auto& [reason, count] : feed.reports.rejected)
      if (count > 0) reasons.insert(reason);
  }
  TextTable table(std::move(columns));
  for (const std::string& reason : reasons) {
    std::vector<std::string> row{reason};
    for (const FeedStatus& feed : status.feeds) {
      const auto found = feed.reports.rejected.find(reason);
      row.push_back(grouped(found == feed.reports.rejected.end() ? 0 : found->second));
    }
    table.add(std::move(row));
  }
  return table.empty() ? "" : "\n" + table.text();
}

}  // namespace

std::int64_t ReportCounts::rejected_in_all() const {
  std::int64_t sum = 0;
  for (const auto& [reason, count] : rejected) sum += count;
  return sum;
}

Result<Status> read_status(const schema::Store& store, const std::string& file) {
  Status status;
  status.file = file;
  const auto totals = store.totals();
  if (!totals) return tl::unexpected(totals.error());
  status.totals = *totals;
  const auto all = store.tally(std::nullopt);
  if (!all) return tl::unexpected(all.error());
  status.reports = counts_of(*all);
  const auto trials = store.trials();
  if (!trials) return tl::unexpected(trials.error());
  const auto feeds = store.feeds();
  if (!feeds) return tl::unexpected(feeds.error());
  for (const schema::Named& named : *feeds) {
    FeedStatus feed;
    feed.name = named.name;
    const auto tally = store.tally(named.id);
    if (!tally) return tl::unexpected(tally.error());
    feed.reports = counts_of(*tally);
    const auto coverage = store.coverage(named.id);
    if (!coverage) return tl::unexpected(coverage.error());
    if (!coverage->empty()) feed.since_s = coverage->front().from_s;
    for (const schema::Coverage& part : *coverage) feed.recorded_s += part.to_s - part.from_s;
    const auto clock = store.clock(named.id);
    if (!clock) return tl::unexpected(clock.error());
    feed.clock = *clock;
    const auto traits = store.traits(named.id);
    if (!traits) return tl::unexpected(traits.error());
    feed.warnings = present::feed_warnings(*traits, *clock, *tally);
    for (const schema::Trial& trial : *trials)
      if (trial.feed == named.name && !trial.stop_s) feed.trial = trial;
    status.feeds.push_back(std::move(feed));
  }
  return status;
}

std::string status_text(const Status& status) {
  const schema::Totals& totals = status.totals;
  std::string text;
  if (totals.cells == 0)
    text = fmt::format("{} holds no cells yet ({} reports received).\n", status.file,
                       grouped(status.reports.received));
  else
    text = fmt::format(
        "{} holds {} cells ({} silent) in {} flights of {} aircraft, {} to {}, in {}.\n",
        status.file, grouped(totals.cells), grouped(totals.silent_cells), grouped(totals.flights),
        grouped(totals.aircraft), time_text(totals.from_s), time_text(totals.to_s),
        present::bytes_text(totals.bytes));
  if (totals.summarised_cells > 0)
    text += fmt::format("Of {} cells since {} the hourly summaries are left.\n",
                        grouped(totals.summarised_cells), time_text(totals.summarised_from_s));
  if (status.feeds.empty()) return text;

  TextTable table({{"feed", TextTable::Align::left},
                   {"received"},
                   {"stored"},
                   {"repeats"},
                   {"rejected"},
                   {"recorded"},
                   {"since", TextTable::Align::left},
                   {"clock", TextTable::Align::left},
                   {"trial", TextTable::Align::left}});
  for (const FeedStatus& feed : status.feeds)
    table.add({feed.name, grouped(feed.reports.received), grouped(feed.reports.stored),
               grouped(feed.reports.repeats), grouped(feed.reports.rejected_in_all()),
               duration_text(static_cast<double>(feed.recorded_s)), time_text(feed.since_s),
               offset_text(feed.clock), trial_text(feed.trial)});
  text += "\n" + table.text() + rejects_text(status);
  for (const FeedStatus& feed : status.feeds)
    for (const std::string& warning : feed.warnings)
      text += fmt::format("\nFeed {}: {}\n", feed.name, warning);
  return text;
}

namespace {

Result<int> verify(const schema::Store& store, const std::string& file) {
  const auto site = store.site();
  if (!site) return tl::unexpected(site.error());
  if (!*site) return fail(Errc::not_found, "no site is stored", file, "record into it first");
  const auto summariser = pattern::make_summariser(**site);
  if (!summariser) return tl::unexpected(summariser.error());
  const auto check = store.check_summaries(**summariser);
  if (!check) return tl::unexpected(check.error());
  const std::string counted =
      fmt::format("hours compared: {}, waiting to be made anew: {}, without cells: {}",
                  grouped(check->hours), grouped(check->stale), grouped(check->cells_gone));
  if (check->wrong_hours_s.empty()) {
    fmt::print("{}: summaries agree with their cells; {}\n", file, counted);
    return 0;
  }
  fmt::print("{}: summaries differ from their cells in these hours; {}\n", file, counted);
  for (const std::int64_t hour_s : check->wrong_hours_s) fmt::print("{}\n", time_text(hour_s));
  return 1;
}

}  // namespace

void add_status(CLI::App& app, Run& run) {
  struct Options {
    std::string file;
    bool json = false;
    bool verify = false;
  };
  const auto options = std::make_shared<Options>();
  CLI::App* command =
      app.add_subcommand("status", "what is stored, since when, per feed, rejects by reason");
  command->add_option("DB", options->file, "the database")->required();
  command->add_flag("--json", options->json, "print JSON");
  command->add_flag("--verify", options->verify,
                    "make hourly summaries anew from the cells, and compare");
  command->callback([options, &run] {
    run = [options]() -> Result<int> {
      const auto store = schema::Store::open(options->file, schema::Store::Access::read);
      if (!store) return tl::unexpected(store.error());
      if (options->verify) return verify(*store, options->file);
      const auto text = options->json ? present::status_json(*store)
                                      : read_status(*store, options->file).map(status_text);
      if (!text) return tl::unexpected(text.error());
      std::fputs(text->c_str(), stdout);
      return 0;
    };
  });
}

}  // namespace roundel::program
