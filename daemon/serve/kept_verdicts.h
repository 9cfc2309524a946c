// What verdicts said of sectors lately, for cuts of the same selections.
#pragma once
#include <chrono>
#include <cstddef>
#include <list>
#include <memory>
#include <mutex>
#include <string>

#include "daemon/serve/query.h"
#include "roundel/pattern/cut.h"
#include "roundel/result.h"
#include "roundel/schema/store.h"

namespace roundel::serve {

/// Who turns a cut to another bearing asks for the same verdict again, which takes longer than the
/// cut. One that a change of trials has outdated, or that is older than an hour, is given no more.
/// All functions may be called from any thread.
class KeptVerdicts {
 public:
  using Clock = std::chrono::steady_clock;
  using Sectors = std::shared_ptr<const pattern::JudgedSectors>;

  /// What a verdict is about, and of which trials. Errc: those of the store.
  static Result<std::string> key_of(const Query& query, const schema::Store& store);

  void keep(std::string key, pattern::JudgedSectors sectors, Clock::time_point begun);
  /// None: it must be worked out.
  Sectors find(const std::string& key, Clock::time_point now) const;

 private:
  static constexpr std::size_t most = 8;  ///< of some 20 kB each
  static constexpr std::chrono::minutes oldest{60};

  struct Entry {
    std::string key;
    Sectors sectors;
    Clock::time_point begun;
  };
  mutable std::mutex mutex_;
  std::list<Entry> entries_;  // newest first; guarded by mutex_
};

}  // namespace roundel::serve
