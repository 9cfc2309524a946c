#include "daemon/serve/changes.h"

#include <fmt/format.h>
#include <fmt/ranges.h>

#include <algorithm>
#include <initializer_list>
#include <nlohmann/json.hpp>

#include "roundel/present/store_json.h"
#include "roundel/trial/change.h"

namespace roundel::serve {
namespace {

using nlohmann::json;

// Reads one member into its place; what is null was not said.
Result<void> read_member(trial::Change& out, const std::string& key, const json& value) {
  const auto wrong = [&](std::string_view kind) {
    return fail(Errc::malformed, fmt::format("is not {}", kind), key);
  };
  if (value.is_null()) return {};
  if (key == "rotation_deg") {
    if (!value.is_number()) return wrong("a number");
    out.rotation_deg = value.get<double>();
    return {};
  }
  if (key == "trial") {
    if (!value.is_number_integer()) return wrong("a trial's number");
    out.trial = value.get<schema::Id>();
    return {};
  }
  // A time may be written as seconds, too.
  if (key == "at" && value.is_number()) {
    out.at = fmt::format("{:.3f}", value.get<double>());
    return {};
  }
  if (!value.is_string()) return wrong(key == "at" ? "a time" : "text");
  (key == "feed"       ? out.feed
   : key == "antenna"  ? out.antenna
   : key == "receiver" ? out.receiver
   : key == "mount"    ? out.mount
   : key == "at"       ? out.at
                       : out.text) = value.get<std::string>();
  return {};
}

Result<trial::Change> read_change(std::string_view body,
                                  std::initializer_list<std::string_view> keys) {
  const json object = json::parse(body, nullptr, false);
  if (!object.is_object()) {
    return fail(Errc::malformed, "the body is not a JSON object", "body",
                fmt::format("its members are {}", fmt::join(keys, ", ")));
  }
  trial::Change out;
  for (const auto& [key, value] : object.items()) {
    if (std::ranges::find(keys, key) == keys.end()) {
      return fail(Errc::bad_usage, fmt::format("\"{}\" is not known here", key.substr(0, 40)),
                  "body", fmt::format("known are {}", fmt::join(keys, ", ")));
    }
    if (auto done = read_member(out, key, value); !done) return tl::unexpected(done.error());
  }
  return out;
}

}  // namespace

Result<Answer> start_trial(std::string_view body, schema::Store& store, double now_s) {
  const auto change =
      read_change(body, {"feed", "antenna", "receiver", "mount", "rotation_deg", "at", "note"});
  if (!change) return tl::unexpected(change.error());
  const auto wanted = trial::trial_to_start(store, *change, now_s);
  if (!wanted) return tl::unexpected(wanted.error());
  return store.start_trial(*wanted).map([](const schema::Trial& started) {
    return Answer{.status = 201, .body = present::trial_json(started), .cache_control = "no-store"};
  });
}

Result<Answer> stop_trial(std::string_view body, schema::Store& store, double now_s) {
  const auto change = read_change(body, {"feed", "at"});
  if (!change) return tl::unexpected(change.error());
  const auto wanted = trial::trial_to_stop(store, *change, now_s);
  if (!wanted) return tl::unexpected(wanted.error());
  return store.stop_trial(wanted->feed, wanted->at_s).map([](const schema::Trial& stopped) {
    return Answer{.body = present::trial_json(stopped), .cache_control = "no-store"};
  });
}

Result<Answer> add_note(std::string_view body, schema::Store& store, double now_s) {
  const auto change = read_change(body, {"text", "at", "trial"});
  if (!change) return tl::unexpected(change.error());
  auto note = trial::note_to_add(store, *change, now_s);
  if (!note) return tl::unexpected(note.error());
  return store.add_note(*note).map([&](schema::Id id) {
    note->id = id;
    return Answer{.status = 201, .body = present::note_json(*note), .cache_control = "no-store"};
  });
}

}  // namespace roundel::serve
