#include "daemon/serve/answer_cache.h"

namespace roundel::serve {

std::optional<AnswerCache::Found> AnswerCache::find(const std::string& key,
                                                    const DataVersion& version,
                                                    Clock::time_point now) {
  const auto found = by_key_.find(key);
  if (found == by_key_.end()) return {};
  const Entry& entry = *found->second;
  Found out{entry.answer, {}, {}};
  if (entry.origin.version != version) {
    out.age = now - entry.origin.begun;
    const bool may_be_older = entry.work.may_age && entry.origin.version.is_near(version) &&
                              entry.took >= patience_.quick && *out.age < patience_.most;
    if (!may_be_older) {
      drop(found->second);
      return {};
    }
    if (*out.age >= patience_.times_as_long * entry.took) out.due = entry.work;
  }
  entries_.splice(entries_.begin(), entries_, found->second);
  return out;
}

void AnswerCache::keep(const std::string& key, const Work& work, const Origin& origin,
                       std::shared_ptr<const Rendered> answer, Clock::duration took) {
  auto place = entries_.begin();
  if (const auto found = by_key_.find(key); found != by_key_.end()) {
    // Two may have worked it out; and what nobody has asked for again stays where it was.
    if (found->second->origin.begun > origin.begun) return;
    place = std::next(found->second);
    drop(found->second);
  }
  const std::size_t bytes =
      2 * key.size() + answer->answer.body.size() + answer->gzipped.size() + sizeof(Entry);
  if (bytes > limit_bytes_) return;
  while (bytes_ + bytes > limit_bytes_) {
    const auto last = std::prev(entries_.end());
    if (place == last) place = entries_.end();
    drop(last);
  }
  const auto entry = entries_.insert(place, {key, work, origin, std::move(answer), took, bytes});
  entry->work.must_be_new = false;  // that was one client's wish
  by_key_[key] = entry;
  bytes_ += bytes;
}

std::optional<AnswerCache::Origin> AnswerCache::origin(const std::string& key) const {
  const auto found = by_key_.find(key);
  if (found == by_key_.end()) return {};
  return found->second->origin;
}

std::vector<Work> AnswerCache::lasting(std::size_t most) const {
  std::vector<Work> out;
  for (const Entry& entry : entries_) {
    if (out.size() == most) break;
    if (entry.work.is_lasting && entry.took >= patience_.quick) out.push_back(entry.work);
  }
  return out;
}

void AnswerCache::drop(std::list<Entry>::iterator entry) {
  bytes_ -= entry->bytes;
  by_key_.erase(entry->key);
  entries_.erase(entry);
}

}  // namespace roundel::serve
