// A file's lines, read and parsed on a thread of their own while others record the ones before.
#pragma once
#include <array>
#include <chrono>
#include <condition_variable>
#include <cstdint>
#include <memory>
#include <mutex>
#include <optional>
#include <string>
#include <thread>

#include "daemon/feed/file_source.h"
#include "daemon/feed/intake.h"
#include "roundel/config/config.h"
#include "roundel/feed/layout_reader.h"

namespace roundel::feed {

/// The parts of a file in order, the same whatever the threads do: each is what one read of the
/// file brought, or less where that was many reports. Holds four parts; whoever is ahead waits.
class ReadAhead {
 public:
  struct Part {
    Intake intake;
    std::int64_t position = 0;  ///< of the file, as FileSource::position() after it
  };
  /// @param source  must outlive this, and is used by nobody else meanwhile
  /// Errc::io where the system gives no thread.
  static Result<std::unique_ptr<ReadAhead>> begin(FileSource& source, const config::Layout& layout);
  /// Stops as soon as the read under way returns.
  ~ReadAhead();

  /// The next part, to be used and changed until the next call; nullptr at the end. An error that
  /// the source met comes after all that was read before it. One thread calls this.
  Result<Part*> next();
  /// Whether next() will not wait. Returns after that time at the latest.
  bool is_ready_within(std::chrono::milliseconds time);
  /// As LayoutReader::trouble(). @pre next() has given nullptr
  const std::string& trouble() const { return reader_.trouble(); }

 private:
  static constexpr std::size_t n_slots = 4;

  ReadAhead(FileSource& source, const config::Layout& layout) : source_(source), reader_(layout) {}
  void run();
  void give_back();
  bool has_next() const { return n_returned_ < n_handed_ || is_over_; }
  bool make_room();
  void hand_over();

  FileSource& source_;
  LayoutReader reader_;
  std::array<Part, n_slots> slots_;
  Part* filling_ = nullptr;     // the reading thread's; nullptr: nobody wants more
  std::optional<Error> error_;  // the reading thread's until is_over_

  std::mutex mutex_;  // guards what follows
  std::condition_variable has_part_, has_room_;
  std::uint64_t n_handed_ = 0, n_returned_ = 0;
  bool is_given_ = false;  // the part after those returned is in use
  bool is_over_ = false, is_abandoned_ = false;

  std::thread thread_;
};

}  // namespace roundel::feed
