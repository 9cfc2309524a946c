// /metrics is held line by line against the grammar of OpenMetrics 1.0.0
// (https://github.com/OpenObservability/OpenMetrics/blob/v1.0.0/specification/OpenMetrics.md).
#include "daemon/serve/metrics.h"

#include <gtest/gtest.h>

#include <map>
#include <optional>
#include <regex>
#include <set>
#include <sstream>
#include <string>
#include <vector>

#include "tests/serve/sample_live.h"

namespace roundel::serve {
namespace {

struct Sample {
  std::string name;
  std::map<std::string, std::string> labels;
  double value{};
};

struct Family {
  std::string name, type, unit, help;
  std::vector<Sample> samples;
};

// Reads by the ABNF; what breaks it is a failure of the test, with the line.
class Reader {
 public:
  explicit Reader(const std::string& text) {
    EXPECT_TRUE(text.ends_with("# EOF\n"));
    std::istringstream lines(text);
    std::string line;
    bool is_over = false;
    while (std::getline(lines, line)) {
      SCOPED_TRACE(line);
      EXPECT_FALSE(is_over) << "nothing may follow # EOF";
      if (line == "# EOF") {
        is_over = true;
      } else if (line.starts_with("#")) {
        descriptor(line);
      } else {
        sample(line);
      }
    }
    EXPECT_TRUE(is_over);
  }
  const std::vector<Family>& families() const { return families_; }

 private:
  // metric-descriptor. TYPE comes first here, so it opens a family.
  void descriptor(const std::string& line) {
    static const std::regex form(
        "# (TYPE|UNIT|HELP) ([a-zA-Z_:][a-zA-Z0-9_:]*) "
        "((?:[^\\n\"\\\\]|\\\\[n\"\\\\])*)");
    static const std::set<std::string> types{"counter",  "gauge", "histogram", "gaugehistogram",
                                             "stateset", "info",  "summary",   "unknown"};
    std::smatch part;
    ASSERT_TRUE(std::regex_match(line, part, form));
    if (part[1] == "TYPE") {
      EXPECT_TRUE(types.contains(part[3]));
      for (const auto& family : families_) EXPECT_NE(family.name, part[2]) << "a family twice";
      families_.push_back(
          {.name = part[2], .type = part[3], .unit = {}, .help = {}, .samples = {}});
      return;
    }
    ASSERT_FALSE(families_.empty());
    Family& family = families_.back();
    EXPECT_EQ(family.name, part[2]) << "families may not be interleaved";
    EXPECT_TRUE(family.samples.empty()) << "descriptors come before samples";
    std::string& place = part[1] == "UNIT" ? family.unit : family.help;
    EXPECT_EQ(place, "");
    place = part[3];
  }

  // sample = metricname [labels] SP number LF
  void sample(const std::string& line) {
    static const std::regex form(
        "([a-zA-Z_:][a-zA-Z0-9_:]*)(\\{.*\\})? "
        "([+-]?(?:[0-9]+(?:\\.[0-9]*)?|[0-9]*\\.[0-9]+)(?:[eE][+-]?[0-9]+)?|[+-]?[Ii]nf|NaN)");
    static const std::regex label(
        "[{,]([a-zA-Z_][a-zA-Z0-9_]*)=\"((?:[^\\n\"\\\\]|\\\\[n\"\\\\])*)\"");
    std::smatch part;
    ASSERT_TRUE(std::regex_match(line, part, form));
    Sample out{part[1], {}, std::stod(part[3])};
    std::string labels = part[2];
    while (labels.size() > 1) {
      std::smatch pair;
      ASSERT_TRUE(std::regex_search(labels, pair, label, std::regex_constants::match_continuous))
          << labels;
      EXPECT_TRUE(out.labels.emplace(pair[1], pair[2]).second) << "a label twice";
      labels = pair.suffix();
    }
    EXPECT_TRUE(labels.empty() || labels == "}") << labels;
    ASSERT_FALSE(families_.empty());
    families_.back().samples.push_back(std::move(out));
  }

  std::vector<Family> families_;
};

// What the text of the specification asks of each type beyond the grammar.
void check_meaning(const Family& family) {
  SCOPED_TRACE(family.name);
  EXPECT_FALSE(family.help.empty());
  EXPECT_FALSE(family.name.ends_with("_total") || family.name.ends_with("_info"));
  if (!family.unit.empty()) {
    EXPECT_TRUE(family.name.ends_with("_" + family.unit)) << "a unit is the end of the name";
  }
  std::set<std::map<std::string, std::string>> seen;
  for (const auto& sample : family.samples) {
    EXPECT_TRUE(seen.insert(sample.labels).second) << "a metric twice";
    if (family.type == "counter") {
      EXPECT_EQ(sample.name, family.name + "_total");
      EXPECT_GE(sample.value, 0);
    } else if (family.type == "info") {
      EXPECT_EQ(sample.name, family.name + "_info");
      EXPECT_EQ(sample.value, 1);
    } else {
      EXPECT_EQ(sample.name, family.name);
    }
    if (family.type == "stateset") {
      EXPECT_TRUE(sample.labels.contains(family.name)) << "a stateset's label is named like it";
      EXPECT_TRUE(sample.value == 0 || sample.value == 1);
    }
  }
}

std::optional<double> value(const Reader& read, const std::string& name,
                            const std::map<std::string, std::string>& labels) {
  for (const auto& family : read.families()) {
    for (const auto& sample : family.samples) {
      if (sample.name == name && sample.labels == labels) return sample.value;
    }
  }
  return {};
}

Counters sample_counters() {
  Counters counters;
  counters.answers = {{200, 40}, {404, 2}};
  counters.refused = {{"connections", 1}};
  counters.connections = 3;
  return counters;
}

TEST(Metrics, KeepToTheGrammarAndTheTypes) {
  const Reader read(metrics(sample_live(), sample_counters(), 123456));
  EXPECT_GE(read.families().size(), 15u);
  for (const auto& family : read.families()) check_meaning(family);
}

TEST(Metrics, KeepToTheGrammarBeforeAnythingHappened) {
  const Reader read(metrics(Live{}, Counters{}, {}));
  for (const auto& family : read.families()) check_meaning(family);
  EXPECT_FALSE(value(read, "roundel_store_size_bytes", {})) << "what is not known has no sample";
  EXPECT_FALSE(value(read, "roundel_commit_age_seconds", {}));
}

TEST(Metrics, NamesFromOutsideAreEscaped) {
  Live live = sample_live();
  live.feeds[0].name = "a\\b\"c\nd";
  const Reader read(metrics(live, sample_counters(), 1));
  // "Escaping", in the section "ABNF": \\, \", \n.
  EXPECT_EQ(value(read, "roundel_reports_received_total", {{"feed", "a\\\\b\\\"c\\nd"}}), 1000);
}

TEST(Metrics, SayWhatTheRecorderSays) {
  const Reader read(metrics(sample_live(), sample_counters(), 123456));
  const std::map<std::string, std::string> roof{{"feed", "roof"}};
  EXPECT_EQ(value(read, "roundel_reports_received_total", roof), 1000);
  EXPECT_EQ(value(read, "roundel_reports_total", {{"feed", "roof"}, {"outcome", "stored"}}), 900);
  EXPECT_EQ(value(read, "roundel_reports_total", {{"feed", "roof"}, {"outcome", "stale"}}), 10);
  EXPECT_EQ(value(read, "roundel_feed_last_report_age_seconds", roof), 0.5);
  EXPECT_EQ(value(read, "roundel_feed_lag_seconds", roof), 0.25);
  EXPECT_EQ(value(read, "roundel_feed_farthest_meters", roof), 301500);
  EXPECT_EQ(value(read, "roundel_feed_queue", roof), 3);
  EXPECT_EQ(
      value(read, "roundel_feed_state", {{"feed", "roof"}, {"roundel_feed_state", "connected"}}),
      1);
  EXPECT_EQ(
      value(read, "roundel_feed_state", {{"feed", "roof"}, {"roundel_feed_state", "stalled"}}), 0);
  EXPECT_FALSE(value(read, "roundel_feed_last_report_age_seconds", {{"feed", "shed"}}));
  EXPECT_EQ(value(read, "roundel_store_ok", {}), 1);
  EXPECT_EQ(value(read, "roundel_store_size_bytes", {}), 123456);
  EXPECT_EQ(value(read, "roundel_commit_duration_seconds", {}), 0.012);
  const std::map<std::string, std::string> collinear{{"feed", "roof"}, {"antenna", "collinear"}};
  EXPECT_EQ(value(read, "roundel_sensitivity_change_decibels", collinear), -1.25);
  auto low = collinear;
  low["end"] = "low";
  EXPECT_EQ(value(read, "roundel_sensitivity_change_bound_decibels", low), -1.75);
  EXPECT_EQ(value(read, "roundel_commit_age_seconds", {}), 2);
  EXPECT_EQ(value(read, "roundel_uptime_seconds", {}), 100);
  EXPECT_EQ(value(read, "roundel_http_answers_total", {{"status", "404"}}), 2);
  EXPECT_EQ(value(read, "roundel_http_connections", {}), 3);
}

TEST(Metrics, OutcomesAddUpToWhatWasReceived) {
  const Reader read(metrics(sample_live(), sample_counters(), 1));
  double sum = 0;
  for (const auto& family : read.families()) {
    if (family.name != "roundel_reports") continue;
    for (const auto& sample : family.samples) {
      if (sample.labels.at("feed") == "roof") sum += sample.value;
    }
  }
  EXPECT_EQ(sum, 1000);
}

}  // namespace
}  // namespace roundel::serve
