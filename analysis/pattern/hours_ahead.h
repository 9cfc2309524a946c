// Summaries of hours, decoded beside each other and handed on in order while the next are read.
#pragma once
#include <cstddef>
#include <functional>
#include <memory>
#include <optional>
#include <utility>
#include <vector>

#include "analysis/pattern/beside.h"
#include "roundel/result.h"
#include "roundel/schema/summary.h"

namespace roundel::pattern {

/// What summaries say of flights, in three stages at a time: the caller reads some from the
/// database, those before are decoded, and those before them are taken. Holds three such batches.
/// An hour that says nothing is left out: its cells may have gone before there were such details.
template <class Hour>
class HoursAhead {
 public:
  /// Called by several threads at once.
  using Decode = std::function<Result<Hour>(const schema::Summary&)>;
  /// Called in the hours' order by one thread at a time, which need not be the caller's.
  using Take = std::function<void(schema::Id trial, Hour)>;
  /// What goes on beside the taking, with what was taken before; called again and again, by one
  /// thread at a time.
  using Beside = std::vector<std::function<void()>>;

  HoursAhead(Decode decode, Take take, Beside beside = {})
      : decode_(std::move(decode)), take_(std::move(take)), beside_(std::move(beside)) {}

  /// Errc as `decode`; of an earlier hour, after which no other is taken.
  Result<void> add(schema::Summary stored) {
    if (stored.detail.flights.empty()) return {};
    n_bytes_ += stored.detail.flights.size();
    read_.push_back({std::move(stored), std::nullopt});
    const bool is_enough = n_bytes_ >= enough_bytes_ || read_.size() == most_hours;
    return is_enough ? move_on() : Result<void>();
  }
  /// All that was added has been handed on; more may be added afterwards.
  Result<void> finish() {
    while (under_way_ || !read_.empty())
      if (auto ok = move_on(); !ok) return ok;
    return {};
  }

 private:
  static constexpr std::size_t most_hours = 32;
  struct Coming {
    schema::Summary stored;
    std::optional<Result<Hour>> hour;  // once it is decoded
  };
  using Work = std::function<void(std::size_t)>;

  // Waits for what is under way, and begins the next.
  Result<void> move_on() {
    if (under_way_) under_way_->finish();
    under_way_.reset();
    taken_.clear();
    std::swap(taken_, decoded_);
    for (const Coming& one : taken_)
      if (!*one.hour) return tl::unexpected(one.hour->error());
    std::swap(decoded_, read_);
    n_bytes_ = 0;
    if (taken_.empty() && decoded_.empty()) return {};
    const std::size_t n_others = 1 + beside_.size();
    under_way_ = std::make_unique<Underway<Work>>(
        n_others + decoded_.size(), [this, n_others](std::size_t i) {
          if (i == 0) {
            for (Coming& one : taken_) take_(one.stored.trial, std::move(**one.hour));
          } else if (i < n_others) {
            beside_[i - 1]();
          } else {
            Coming& one = decoded_[i - n_others];
            one.hour = decode_(one.stored);
          }
        });
    return {};
  }

  // Enough that it is worth a thread; on one core an hour at a time, while it is in its cache.
  const std::size_t enough_bytes_ = cores() < 2 ? 1 : 512 * 1024;
  std::size_t n_bytes_ = 0;  // of those read
  Decode decode_;
  Take take_;
  Beside beside_;
  std::vector<Coming> read_, decoded_, taken_;  // decoded, taken: by what is under way
  std::unique_ptr<Underway<Work>> under_way_;
};

}  // namespace roundel::pattern
