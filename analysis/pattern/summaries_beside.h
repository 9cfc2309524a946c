// Summaries looked at on a thread of their own, while the caller reads the next ones.
#pragma once
#include <functional>
#include <optional>
#include <utility>
#include <vector>

#include "analysis/pattern/relay.h"
#include "roundel/result.h"
#include "roundel/schema/summary.h"

namespace roundel::pattern {

/// Reading a year's summaries from the database takes a third of the time that reach takes.
class SummariesBeside {
 public:
  using Look = std::function<Result<void>(const schema::Summary&)>;

  /// @param look  called with each in order, never by two threads at once
  explicit SummariesBeside(Look look) : look_(std::move(look)) {}

  void add(const schema::Summary& stored) {
    if (!relay_) {
      relay_.emplace(std::vector<Relay<Batch>::Visitor>{[this](const Batch& some) { see(some); }});
      begin();
    }
    (*batch_)[n_++] = stored;
    if (n_ < at_once) return;
    relay_->hand_over();
    begin();
  }
  /// Returns when all have been looked at; more may be added afterwards. An error is the first
  /// one's, after which none was looked at, and stays.
  Result<void> finish() {
    if (relay_) {
      batch_->resize(n_);
      relay_->hand_over();
      relay_.reset();
    }
    return fine_;
  }

 private:
  using Batch = std::vector<schema::Summary>;
  static constexpr std::size_t at_once = 32;  // some 200 kB

  void begin() {
    batch_ = &relay_->next();
    batch_->resize(at_once);
    n_ = 0;
  }
  void see(const Batch& some) {
    for (const schema::Summary& stored : some) {
      if (!fine_) return;
      fine_ = look_(stored);
    }
  }

  Look look_;
  Result<void> fine_;  // of the relay's thread, until that is joined
  std::optional<Relay<Batch>> relay_;
  Batch* batch_ = nullptr;
  std::size_t n_ = 0;
};

}  // namespace roundel::pattern
