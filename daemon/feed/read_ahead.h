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
#include <vector>

#include "daemon/feed/file_source.h"
#include "daemon/feed/intake.h"
#include "roundel/config/config.h"
#include "roundel/feed/layout_reader.h"

namespace roundel::feed {

/// The parts of a file in order, the same whatever the threads do: each is what one read of the
/// file brought, up to its last line's end. Holds so many parts; whoever is ahead waits.
///
/// Where lines do not depend on those before (LayoutReader::another()), whoever waits for a part
/// can parse one meanwhile: parsing is most of the work, and a core that waits does none.
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
  /// Whether the two above parse where they would wait. They do unless told otherwise: when another
  /// thread of the caller's has use for the core.
  void parse_while_waiting(bool does);
  /// As LayoutReader::trouble(). @pre next() has given nullptr
  const std::string& trouble() const { return reader_.trouble(); }
  /// What is wrong with the first lines that can't be read. @pre as trouble()
  std::vector<std::string> take_faults() { return reader_.take_faults(); }

 private:
  static constexpr std::size_t n_slots = 4;

  struct Slot {
    Part part;
    std::vector<char> text;  // whole lines
    std::size_t n_text = 0;
    bool is_last = false;  // its last line may have no end
    bool is_parsed = false;
  };
  using Lock = std::unique_lock<std::mutex>;

  ReadAhead(FileSource& source, const config::Layout& layout)
      : source_(source), longest_line_(layout.line_bytes), reader_(layout) {}
  Slot& slot(std::uint64_t number) { return slots_[number % n_slots]; }
  void run();
  bool read_block(Slot& into);
  void parse_next(LayoutReader& reader, Lock& lock);
  bool is_next_parsed() const;
  bool is_at_end() const { return is_over_ && n_returned_ == n_read_; }
  bool await_next(Lock& lock, const std::chrono::milliseconds* time);
  void give_back();

  FileSource& source_;
  const int longest_line_;
  LayoutReader reader_;
  std::string begun_line_;      // the reading thread's, as the next block begins with it
  std::optional<Error> error_;  // the reading thread's until is_over_

  std::mutex mutex_;  // guards what follows
  std::condition_variable has_news_, has_room_;
  std::array<Slot, n_slots> slots_;  // a slot is whose who reads, parses or uses it
  std::uint64_t n_read_ = 0, n_claimed_ = 0, n_returned_ = 0;  // claimed: by a thread that parses
  std::optional<LayoutReader> other_reader_;
  bool parses_while_waiting_ = true;
  bool is_given_ = false;  // the part after those returned is in use
  bool is_over_ = false, is_abandoned_ = false;

  std::thread thread_;
};

}  // namespace roundel::feed
