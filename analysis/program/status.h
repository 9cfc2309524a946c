// What is stored, since when, per feed, and what was rejected why.
#pragma once
#include <map>
#include <optional>
#include <string>
#include <vector>

#include "roundel/result.h"
#include "roundel/schema/store.h"

namespace roundel::program {

/// Reports by what became of them: received = stored + repeats + the sum of rejected.
struct ReportCounts {
  std::int64_t received{}, stored{}, repeats{};
  std::map<std::string, std::int64_t> rejected;  ///< by reason

  std::int64_t rejected_in_all() const;
};

struct FeedStatus {
  std::string name;
  ReportCounts reports;
  std::optional<std::int64_t> since_s;  ///< begin of its first recording
  std::int64_t recorded_s{};            ///< feed time covered by recordings, in all
  std::optional<schema::FeedClock> clock;
  std::optional<schema::Trial> trial;  ///< the one that runs
  std::vector<std::string> warnings;   ///< present::feed_warnings()
};

struct Status {
  std::string file;
  schema::Totals totals;
  ReportCounts reports;  ///< of all feeds
  std::vector<FeedStatus> feeds;
};

Result<Status> read_status(const schema::Store& store, const std::string& file);
std::string status_text(const Status& status);

}  // namespace roundel::program
