#include "daemon/serve/kept_verdicts.h"

#include <fmt/format.h>

#include <algorithm>
#include <utility>

namespace roundel::serve {

Result<std::string> KeptVerdicts::key_of(const Query& query, const schema::Store& store) {
  const auto version = store.trials_version();
  if (!version) return tl::unexpected(version.error());
  const auto trials = store.trials();
  if (!trials) return tl::unexpected(trials.error());
  // Another database under the same name has other trials.
  std::string out = fmt::format("{}\x1D", *version);
  for (const schema::Trial& trial : *trials)
    out += fmt::format("{}@{}\x1F", trial.id, trial.start_s);
  return out + '\x1D' + query.without("bearing_deg").canonical();
}

void KeptVerdicts::keep(std::string key, pattern::JudgedSectors sectors, Clock::time_point begun) {
  auto kept = std::make_shared<const pattern::JudgedSectors>(std::move(sectors));
  const std::lock_guard lock(mutex_);
  entries_.remove_if([&](const Entry& entry) { return entry.key == key; });
  if (entries_.size() == most) entries_.pop_back();
  entries_.push_front({std::move(key), std::move(kept), begun});
}

KeptVerdicts::Sectors KeptVerdicts::find(const std::string& key, Clock::time_point now) const {
  const std::lock_guard lock(mutex_);
  const auto found = std::ranges::find(entries_, key, &Entry::key);
  return found == entries_.end() || now - found->begun > oldest ? nullptr : found->sectors;
}

}  // namespace roundel::serve
