// A bounded queue in which clients take turns.
#pragma once
#include <algorithm>
#include <cstddef>
#include <cstdint>
#include <deque>
#include <optional>
#include <string>
#include <utility>

namespace roundel::serve {

/// Each client's items stand in rounds, one in each, behind what it has had already. So whoever
/// asks for one thing waits for one thing of each other client at most, however much these ask for.
/// Where all places are taken, the last of whoever wants most makes room. One thread at a time.
template <class Item>
class FairQueue {
 public:
  explicit FairQueue(std::size_t limit) : limit_(limit) {}

  bool empty() const { return waiting_.empty(); }
  /// Gives back what has no place: this one or another, or none.
  [[nodiscard]] std::optional<Item> push(const std::string& client, Item item) {
    const std::uint64_t round = next_round(client);
    std::optional<Item> out;
    if (waiting_.size() >= limit_) {
      if (waiting_.empty() || waiting_.back().round <= round) return item;
      out = std::move(waiting_.back().item);
      waiting_.pop_back();
    }
    insert({client, round, std::move(item)});
    return out;
  }
  /// Another client wants the same: it is that client's, if its turn comes sooner so.
  void share(const std::string& client, const Item& item) {
    const auto at = std::ranges::find(waiting_, item, &Waiting::item);
    const std::uint64_t round = next_round(client);
    if (at == waiting_.end() || at->round <= round) return;
    Waiting moved{client, round, std::move(at->item)};
    waiting_.erase(at);
    insert(std::move(moved));
  }
  /// @pre not empty
  Item pop() {
    Waiting first = std::move(waiting_.front());
    waiting_.pop_front();
    round_ = first.round;
    last_client_ = std::move(first.client);
    return std::move(first.item);
  }
  void remove(const Item& item) {
    std::erase_if(waiting_, [&](const Waiting& one) { return one.item == item; });
  }

 private:
  struct Waiting {
    std::string client;
    std::uint64_t round;
    Item item;
  };
  std::uint64_t next_round(const std::string& client) const {
    std::uint64_t round = round_ + (client == last_client_ ? 1 : 0);
    for (const Waiting& one : waiting_)
      if (one.client == client) round = std::max(round, one.round + 1);
    return round;
  }
  void insert(Waiting one) {
    const auto at = std::ranges::upper_bound(waiting_, one.round, {}, &Waiting::round);
    waiting_.insert(at, std::move(one));
  }

  const std::size_t limit_;
  std::deque<Waiting> waiting_;  // by round, then as they came
  std::uint64_t round_ = 0;      // of what was popped last, and whose that was
  std::string last_client_;
};

}  // namespace roundel::serve
