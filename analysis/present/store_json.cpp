#include "roundel/present/store_json.h"

#include <algorithm>
#include <nlohmann/json.hpp>

#include "analysis/present/json.h"
#include "roundel/present/feed_warnings.h"
#include "roundel/time.h"

namespace roundel::present {
namespace {

std::string text(const Json& json) {
  return json.dump(2, ' ', false, Json::error_handler_t::replace) + "\n";
}

Json reports_json(const schema::Tally& tally) {
  Json out{{"received", 0}, {"stored", 0}, {"repeats", 0}, {"rejected", Json::object()}};
  for (const auto& [kind, count] : tally) {
    if (kind == "received" || kind == "stored") {
      out[kind] = count;
    } else if (kind == "repeat") {
      out["repeats"] = count;
    } else {
      out["rejected"][kind] = count;
    }
  }
  return out;
}

Json clock_json(const std::optional<schema::FeedClock>& clock) {
  if (!clock) return nullptr;
  return {{"feed_time", format_time(clock->feed_time_s)},
          {"arrival", format_time(clock->arrival_s)},
          {"offset_s", clock->feed_time_s - clock->arrival_s}};
}

Json of_trial(const schema::Trial& trial) {
  return {{"id", trial.id},
          {"feed", trial.feed},
          {"antenna", trial.antenna},
          {"receiver", trial.receiver},
          {"mount", trial.mount},
          {"rotation_deg", trial.rotation_deg},
          {"start", format_time(static_cast<double>(trial.start_s))},
          {"stop", time_or_null(trial.stop_s)},
          {"note", trial.note}};
}

Json of_note(const schema::Note& note) {
  return {{"id", note.id},
          {"time", format_time(static_cast<double>(note.time_s))},
          {"trial", note.trial ? Json(*note.trial) : Json(nullptr)},
          {"text", note.text}};
}

}  // namespace

Result<std::string> status_json(const schema::Store& store) {
  const auto totals = store.totals();
  if (!totals) return tl::unexpected(totals.error());
  const auto tallies = store.tallies();
  if (!tallies) return tl::unexpected(tallies.error());
  schema::Tally all;
  for (const auto& [feed, tally] : *tallies)
    for (const auto& [kind, count] : tally) all[kind] += count;
  const auto feeds = store.feeds();
  if (!feeds) return tl::unexpected(feeds.error());
  const auto trials = store.trials();
  if (!trials) return tl::unexpected(trials.error());

  Json feed_list = Json::array();
  for (const auto& feed : *feeds) {
    const auto tally = tallies->find(feed.id);
    const auto coverage = store.coverage(feed.id);
    if (!coverage) return tl::unexpected(coverage.error());
    std::int64_t recorded_s = 0;
    for (const auto& part : *coverage) recorded_s += part.to_s - part.from_s;
    const auto clock = store.clock(feed.id);
    if (!clock) return tl::unexpected(clock.error());
    const auto traits = store.traits(feed.id);
    if (!traits) return tl::unexpected(traits.error());
    const schema::Tally counts = tally == tallies->end() ? schema::Tally() : tally->second;
    const auto running = std::ranges::find_if(*trials, [&](const schema::Trial& trial) {
      return trial.feed == feed.name && !trial.stop_s;
    });
    feed_list.push_back(
        {{"name", feed.name},
         {"reports", reports_json(counts)},
         {"since", coverage->empty() ? Json(nullptr) : time_or_null(coverage->front().from_s)},
         {"recorded_s", recorded_s},
         {"clock", clock_json(*clock)},
         {"position_step_deg", *traits ? Json((*traits)->position_step_deg) : Json(nullptr)},
         {"crowded_share", *traits ? Json((*traits)->crowded_share) : Json(nullptr)},
         {"warnings", feed_warnings(*traits, *clock, counts)},
         {"trial", running == trials->end() ? Json(nullptr) : Json(running->id)}});
  }
  return text({{"reports", reports_json(all)},
               {"feeds", std::move(feed_list)},
               {"cells", totals->cells},
               {"silent_cells", totals->silent_cells},
               {"summarised_cells", totals->summarised_cells},
               {"summarised_from", time_or_null(totals->summarised_from_s)},
               {"flights", totals->flights},
               {"aircraft", totals->aircraft},
               {"from", time_or_null(totals->from_s)},
               {"to", time_or_null(totals->to_s)},
               {"bytes", totals->bytes}});
}

Result<std::string> trials_json(const schema::Store& store, const schema::Selection& which) {
  const auto trials = store.trials(which);
  if (!trials) return tl::unexpected(trials.error());
  const auto notes = store.notes();
  if (!notes) return tl::unexpected(notes.error());

  Json trial_list = Json::array(), note_list = Json::array();
  for (const auto& trial : *trials) trial_list.push_back(of_trial(trial));
  for (const auto& note : *notes) {
    const auto time_s = static_cast<double>(note.time_s);
    const bool is_in_time =
        time_s >= which.from_s.value_or(time_s) && (!which.to_s || time_s < *which.to_s);
    const bool is_of_selected =
        !note.trial || std::ranges::any_of(*trials, [&](const schema::Trial& trial) {
          return trial.id == *note.trial;
        });
    if (is_in_time && is_of_selected) note_list.push_back(of_note(note));
  }
  return text({{"trials", std::move(trial_list)}, {"notes", std::move(note_list)}});
}

std::string trial_json(const schema::Trial& trial) { return text(of_trial(trial)); }

std::string note_json(const schema::Note& note) { return text(of_note(note)); }

}  // namespace roundel::present
