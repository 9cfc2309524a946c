// Recorders and the store they write to: from lines to rows.
#pragma once
#include <filesystem>
#include <map>
#include <memory>
#include <string>
#include <vector>

#include "daemon/feed/intake.h"
#include "daemon/log.h"
#include "roundel/config/config.h"
#include "roundel/record/recorder.h"
#include "roundel/result.h"
#include "roundel/schema/store.h"

namespace roundel::record {

/// The recorders of all feeds of one database. Not shared by threads.
///
/// Each function that fails may be called again with the same arguments: nothing is lost or
/// counted twice.
class Recording {
 public:
  struct Options {
    std::filesystem::path store;
    schema::SiteRow site;
    Rules rules;
    schema::Retention keep{};     ///< of the cells; summaries stay
    bool hash_addresses = false;  ///< by the key beside the store, made where it is missing
    bool is_file = false;         ///< reports come from files: feed time is the only clock
    bool commits_beside = false;  ///< commit() returns while it goes on, on a thread of its own
    Log log;
  };
  /// Of one feed, since it was added.
  struct Counts {
    std::string feed;
    LiveCounts live;         ///< `stored`: as of the last commit
    schema::Tally rejects;   ///< likewise
    double last_report_s{};  ///< the computer's clock, 0: none yet
  };

  /// Creates the database if it is missing, and writes the site. Errc as Store::open, and
  /// out_of_range for a site that cannot be.
  static Result<Recording> open(Options options);
  Recording(Recording&&) noexcept;
  Recording& operator=(Recording&&) noexcept;
  ~Recording();

  /// Begins to record a feed, continuing its open flights. A feed of that name that is recorded
  /// already is recorded on as this one says: its next report settles what is mounted.
  Result<void> add_feed(const config::Feed& feed);
  /// Ends its flights, commits, forgets it.
  Result<void> remove_feed(const std::string& name);

  /// Takes lines of a feed. What has been taken is gone from `intake`; after an error the rest is
  /// still in it. Errc::out_of_range when a file's reports reach into a trial of other equipment.
  /// @pre the feed has been added
  Result<void> take_in(const std::string& feed, feed::Intake& intake);
  /// Much has been taken in since the last commit: an hour of feed time has ended, or memory grows.
  bool is_commit_due() const;
  /// Writes all that has been taken in. With commits_beside it is only begun, and what fails is
  /// told by a later call; finish_commits() and close() wait for all of it.
  Result<void> commit();
  /// Whether a thread is busy with that now.
  bool is_committing() const;
  /// Until all that was committed is stored. Where nothing more is to come for a while: until then
  /// others cannot write.
  Result<void> finish_commits();
  /// Follows what other processes have changed in the trials. Cheap when they have not.
  Result<void> follow_trials();
  /// One step towards keeping no more cells than was asked for: an hour of them goes, or some space
  /// is given back. True: more is to do. Takes some milliseconds.
  Result<bool> retain();
  /// Ends all flights and commits.
  Result<void> close();

  std::vector<Counts> counts() const;
  /// Rows that the store refused, as of the last commit.
  const schema::Refused& refused() const;
  /// Trials that reports were recorded in since the feed was added, oldest first.
  std::vector<schema::Id> trials_used(const std::string& feed) const;
  /// Waits for a commit that goes on.
  const schema::Store& store() const;

 private:
  struct Impl;
  explicit Recording(std::unique_ptr<Impl> impl);
  std::unique_ptr<Impl> impl_;
};

}  // namespace roundel::record
