// Where every question about the record arrives: it is answered with what is kept, or worked out.
#pragma once
#include <chrono>
#include <condition_variable>
#include <cstddef>
#include <deque>
#include <filesystem>
#include <functional>
#include <map>
#include <memory>
#include <mutex>
#include <optional>
#include <string>
#include <thread>
#include <tuple>
#include <vector>

#include "daemon/serve/answer_cache.h"
#include "daemon/serve/current_store.h"
#include "daemon/serve/lane.h"
#include "daemon/serve/work.h"

namespace roundel::serve {

/// An answer as somebody is given it.
struct Given {
  std::shared_ptr<const Rendered> answer;  ///< none: too many are being worked out
  /// Since it was worked out, where something has been written since; else none.
  std::optional<std::chrono::seconds> age{};
};

/// A thread that looks up what is kept, so that this never waits for a working out, and works out
/// what is quick; three more work out the rest, each with a connection of its own:
///   drawn, slow  what somebody waits for, by its pace
///   idle         what nobody waits for: an answer that was given though it is outdated; and once
///                an hour, whatever is asked, what the page asks for first, and what was asked for
///                last about the whole record. A visitor finds an answer, however long it takes to
///                work out; after a week without one it is left to the next.
/// Whoever asks for what is being worked out waits for that. All functions may be called from any
/// thread.
class Desk {
 public:
  using Clock = AnswerCache::Clock;
  using Done = std::function<void(Given)>;  ///< called once, on one of the threads

  struct Options {
    std::filesystem::path store;
    std::size_t queue_limit = 32;  ///< of each of the other threads
    std::size_t cache_bytes = 16 * 1024 * 1024;
    AnswerCache::Patience patience{};
    /// What the page asks for first, of this record.
    std::function<std::vector<Work>(const schema::Store&)> usual{};
    /// A restart loop must not work it all out each time.
    std::chrono::milliseconds first_look{30'000};
    std::chrono::milliseconds between_looks{60'000};  ///< for what is to be worked out hourly
    std::chrono::minutes renew{60};                   ///< so long after it was tried before
    std::chrono::hours visited{7 * 24};
  };

  explicit Desk(Options options);
  Desk(const Desk&) = delete;
  Desk& operator=(const Desk&) = delete;
  ~Desk();

  /// Those who ask are as many as there are connections at most.
  void ask(Work work, Done done);
  /// Drops what waits, lets what runs end.
  void stop();

 private:
  struct Asked {
    Work work;
    Done done;
  };
  using Origin = AnswerCache::Origin;
  struct Waiting {
    Done done;
    Origin asked;
  };
  struct UnderWay {
    int n_threads = 0;
    bool is_hurried = false;  // one of the threads is not the idle one
    std::vector<Waiting> waiting;
  };
  // Whoever has changed a trial does not wait for what began before: key, trials, file. Nor does
  // who wants a new answer: data, else 0.
  using Name = std::tuple<std::string, std::int64_t, std::int64_t, std::int64_t>;
  static Name name_of(const Work& work, const Origin& origin);

  void run();
  void attend(Asked asked);
  Result<Origin> origin_now();
  void begin(Lane& lane, const Work& work, const Origin& now, Done done);
  void finished(const Work& work, const Origin& origin, bool was_idle, const Worked& worked);
  void look();
  Lane& lane_of(Pace pace) { return pace == Pace::slow ? slow_ : drawn_; }

  const Options options_;

  std::mutex mutex_;
  std::condition_variable wake_;
  // Guarded by mutex_.
  std::deque<Asked> asked_;
  bool is_stopping_ = false;
  AnswerCache cache_;
  std::map<Name, UnderWay> under_way_;

  // Of the desk's thread only.
  CurrentStore store_;
  std::map<std::string, Origin> tried_;  // by key, of what is to be worked out hourly
  Clock::time_point visited_ = Clock::now();

  /// A verdict of a year takes 130 MB, a comparison 150: one of them at a time is what a small
  /// board has. Drift over six million cells takes 40, a cut 75, and neither waits for them.
  Turn large_;
  Lane drawn_, slow_, idle_;
  std::thread thread_;
};

}  // namespace roundel::serve
