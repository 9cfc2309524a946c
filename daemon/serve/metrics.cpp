#include "daemon/serve/metrics.h"

#include <fmt/format.h>

#include <array>
#include <initializer_list>
#include <iterator>

#include "daemon/serve/live_json.h"

namespace roundel::serve {
namespace {

using Label = std::pair<std::string_view, std::string_view>;

// Writes families in the order and form that OpenMetrics asks for: all samples of one family
// together, after its metadata. https://github.com/OpenObservability/OpenMetrics, 1.0.0,
// "Overall Structure" and "ABNF".
class Writer {
 public:
  // The unit, where there is one, must be the end of the family's name.
  void family(std::string_view name, std::string_view type, std::string_view help,
              std::string_view unit = {}) {
    name_ = fmt::format("roundel_{}", name);
    fmt::format_to(std::back_inserter(out_), "# TYPE {} {}\n", name_, type);
    if (!unit.empty()) fmt::format_to(std::back_inserter(out_), "# UNIT {} {}\n", name_, unit);
    fmt::format_to(std::back_inserter(out_), "# HELP {} {}\n", name_, help);
    suffix_ = type == "counter" ? "_total" : type == "info" ? "_info" : "";
  }

  // fmt writes the shortest text that reads back the same, which the grammar's realnumber takes.
  template <class Number>
  void sample(std::initializer_list<Label> labels, Number value) {
    out_ += name_ + suffix_;
    char mark = '{';
    for (const auto& [label, text] : labels) {
      fmt::format_to(std::back_inserter(out_), "{}{}=\"", mark, label);
      escape(text);
      out_ += '"';
      mark = ',';
    }
    if (mark == ',') out_ += '}';
    fmt::format_to(std::back_inserter(out_), " {}\n", value);
  }

  // The name a stateset's own label must have.
  std::string_view name() const { return name_; }

  std::string end() && { return std::move(out_) + "# EOF\n"; }

 private:
  void escape(std::string_view text) {
    for (const char c : text) {
      if (c == '\n') {
        out_ += "\\n";
      } else {
        if (c == '"' || c == '\\') out_ += '\\';
        out_ += c;
      }
    }
  }

  std::string out_, name_, suffix_;
};

void feeds(Writer& out, const Live& live) {
  out.family("reports_received", "counter", "Reports received, by feed, since start.");
  for (const auto& feed : live.feeds) out.sample({{"feed", feed.name}}, feed.received);

  out.family("reports", "counter",
             "What became of the reports received: stored, repeat, or the reason for rejection.");
  for (const auto& feed : live.feeds) {
    out.sample({{"feed", feed.name}, {"outcome", "stored"}}, feed.stored);
    out.sample({{"feed", feed.name}, {"outcome", "repeat"}}, feed.repeats);
    for (const auto& [reason, count] : feed.rejects) {
      out.sample({{"feed", feed.name}, {"outcome", reason}}, count);
    }
  }

  out.family("feed_state", "stateset", "State of each feed's connection.");
  for (const auto& feed : live.feeds) {
    for (const FeedState state : {FeedState::connecting, FeedState::connected, FeedState::stalled,
                                  FeedState::listening, FeedState::stopped}) {
      out.sample({{"feed", feed.name}, {out.name(), state_name(state)}},
                 feed.state == state ? 1 : 0);
    }
  }

  out.family("feed_last_report_age_seconds", "gauge", "Time since the last report.", "seconds");
  for (const auto& feed : live.feeds) {
    if (feed.last_report_s > 0) {
      out.sample({{"feed", feed.name}}, live.now_s - feed.last_report_s);
    }
  }
  out.family("feed_lag_seconds", "gauge",
             "The computer's clock less the feed's, at the last report.", "seconds");
  for (const auto& feed : live.feeds) {
    if (feed.last_report_s > 0 && feed.feed_time_s > 0) {
      out.sample({{"feed", feed.name}}, feed.last_report_s - feed.feed_time_s);
    }
  }
  out.family("feed_queue", "gauge", "Waiting to be recorded.");
  for (const auto& feed : live.feeds) out.sample({{"feed", feed.name}}, feed.queued);
  out.family("feed_queue_limit", "gauge", "How much may wait.");
  for (const auto& feed : live.feeds) out.sample({{"feed", feed.name}}, feed.queue_limit);
  out.family("feed_aircraft", "gauge", "Aircraft heard in the last 60 s.");
  for (const auto& feed : live.feeds) out.sample({{"feed", feed.name}}, feed.aircraft);
  out.family("feed_farthest_meters", "gauge", "Longest range heard since start.", "meters");
  for (const auto& feed : live.feeds) {
    if (feed.farthest_km > 0) out.sample({{"feed", feed.name}}, feed.farthest_km * 1000);
  }
}

void store(Writer& out, const Live& live, std::optional<std::int64_t> store_bytes) {
  out.family("store_ok", "gauge", "1 while the database takes what is recorded.");
  out.sample({}, live.store_state == "ok" ? 1 : 0);
  out.family("store_size_bytes", "gauge", "Size of the database with its log.", "bytes");
  if (store_bytes) out.sample({}, *store_bytes);
  out.family("commit_duration_seconds", "gauge", "How long the last write took.", "seconds");
  if (live.last_commit_s > 0) out.sample({}, live.last_commit_took_s);
  out.family("commit_age_seconds", "gauge", "Time since the last write.", "seconds");
  if (live.last_commit_s > 0) out.sample({}, live.now_s - live.last_commit_s);
}

void sensitivity(Writer& out, const Live& live) {
  out.family("sensitivity_change_decibels", "gauge",
             "The last day's sensitivity less that of the days before, by running trial; updated "
             "once a day.",
             "decibels");
  for (const auto& of : live.sensitivity)
    out.sample({{"feed", of.feed}, {"antenna", of.antenna}}, of.change_db);
  out.family("sensitivity_change_bound_decibels", "gauge",
             "The 95 % interval of the same, by its ends.", "decibels");
  for (const auto& of : live.sensitivity) {
    out.sample({{"feed", of.feed}, {"antenna", of.antenna}, {"end", "low"}}, of.low_db);
    out.sample({{"feed", of.feed}, {"antenna", of.antenna}, {"end", "high"}}, of.high_db);
  }
}

void server(Writer& out, const Counters& counters) {
  out.family("http_answers", "counter", "Answers given, by HTTP status.");
  for (const auto& [status, count] : counters.answers) {
    out.sample({{"status", fmt::format("{}", status)}}, count);
  }
  out.family("http_refused", "counter", "Connections and requests cut short, by the limit met.");
  for (const auto& [limit, count] : counters.refused) out.sample({{"limit", limit}}, count);
  out.family("http_failures", "counter", "Connections ended by a fault of the server.");
  out.sample({}, counters.failures);
  out.family("http_connections", "gauge", "Connections open.");
  out.sample({}, counters.connections);
  out.family("http_event_clients", "gauge", "Of these, reading live events.");
  out.sample({}, counters.event_clients);
}

}  // namespace

std::string metrics(const Live& live, const Counters& counters,
                    std::optional<std::int64_t> store_bytes) {
  Writer out;
  out.family("build", "info", "The program's version.");
  out.sample({{"version", ROUNDEL_VERSION}}, 1);
  out.family("uptime_seconds", "gauge", "Time since the program's start.", "seconds");
  out.sample({}, live.now_s - live.started_s);
  feeds(out, live);
  store(out, live, store_bytes);
  sensitivity(out, live);
  server(out, counters);
  return std::move(out).end();
}

}  // namespace roundel::serve
