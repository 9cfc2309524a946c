// Answers worked out before, and how long each may be given.
#pragma once
#include <chrono>
#include <cstddef>
#include <cstdint>
#include <list>
#include <memory>
#include <optional>
#include <string>
#include <unordered_map>
#include <vector>

#include "daemon/serve/answer.h"
#include "daemon/serve/work.h"

namespace roundel::serve {

/// What an answer was worked out from.
struct DataVersion {
  std::int64_t data{};    ///< another after every commit
  std::int64_t trials{};  ///< another after every change to trials or notes
  std::int64_t file{};    ///< another for another database under the same name
  bool operator==(const DataVersion&) const = default;
  /// Whether they differ by cells at most.
  bool is_near(const DataVersion& other) const {
    return trials == other.trials && file == other.file;
  }
};

/// Each answer belongs to a version of the data. When that has passed it is given no more; but one
/// that took long may be given, as what it is, while a newer one is being worked out: a page that
/// is left open asks for a verdict every minute, and each commit brings a few cells more. Keeps to
/// `limit_bytes`, forgetting what was asked for longest ago. One thread at a time.
class AnswerCache {
 public:
  using Clock = std::chrono::steady_clock;

  /// How old an answer may be.
  struct Patience {
    /// Of the processor, what an answer may cost and be worked out anew for whoever asks.
    std::chrono::milliseconds quick{20};
    /// One that took longer is worked out again after so many times as long at the earliest: none
    /// takes more than a thirtieth of a core.
    int times_as_long = 30;
    /// So old it is given to nobody.
    std::chrono::minutes most{120};
  };
  struct Origin {
    DataVersion
        version;  ///< read before the beginning: too old by a commit at times, never too new
    Clock::time_point begun;
  };
  struct Found {
    std::shared_ptr<const Rendered> answer;
    /// Since it was worked out; none: nothing has been written since, so it is right.
    std::optional<Clock::duration> age;
    std::optional<Work> due;  ///< what works it out anew, where it is time for that
  };

  explicit AnswerCache(std::size_t limit_bytes) : AnswerCache(limit_bytes, Patience()) {}
  AnswerCache(std::size_t limit_bytes, Patience patience)
      : limit_bytes_(limit_bytes), patience_(patience) {}
  std::optional<Found> find(const std::string& key, const DataVersion& version,
                            Clock::time_point now);
  /// @param work  which made it, and would make it anew  @param took  of the processor's time
  void keep(const std::string& key, const Work& work, const Origin& origin,
            std::shared_ptr<const Rendered> answer, Clock::duration took);
  /// What is kept under this key was worked out from, and when.
  std::optional<Origin> origin(const std::string& key) const;
  /// The questions about the whole record asked last, no more than `most`, newest first.
  std::vector<Work> lasting(std::size_t most) const;
  std::size_t bytes() const { return bytes_; }

 private:
  struct Entry {
    std::string key;
    Work work;
    Origin origin;
    std::shared_ptr<const Rendered> answer;
    Clock::duration took;
    std::size_t bytes;
  };
  void drop(std::list<Entry>::iterator entry);

  std::size_t limit_bytes_, bytes_ = 0;
  Patience patience_;
  std::list<Entry> entries_;  // last asked for first
  std::unordered_map<std::string, std::list<Entry>::iterator> by_key_;
};

}  // namespace roundel::serve
