// What a test of the whole needs: the real programs as processes, and the other ends of their
// sockets. Every wait is for a condition, for a minute at most.
#pragma once
#include <sys/types.h>

#include <atomic>
#include <chrono>
#include <cstdint>
#include <filesystem>
#include <functional>
#include <nlohmann/json.hpp>
#include <optional>
#include <string>
#include <string_view>
#include <thread>
#include <vector>

struct sqlite3;

namespace roundel::end_to_end {

using Json = nlohmann::json;
using Clock = std::chrono::steady_clock;

extern const std::string roundel, roundeld;  ///< the programs

/// True once the condition holds, false after a minute.
bool eventually(const std::function<bool()>& condition);

/// A folder that goes with its test.
class Folder {
 public:
  Folder();
  Folder(const Folder&) = delete;
  Folder& operator=(const Folder&) = delete;
  ~Folder();
  std::filesystem::path operator/(std::string_view name) const { return path_ / name; }
  const std::filesystem::path& path() const { return path_; }

 private:
  std::filesystem::path path_;
};

std::string read_file(const std::filesystem::path& file);
void write_file(const std::filesystem::path& file, std::string_view text);
std::vector<std::string> lines_of(const std::filesystem::path& file);
std::string joined(const std::vector<std::string>& lines, std::size_t from, std::size_t to);

/// The simulated hour of scenario.toml: files roof-a.ndjson and roof-b.ndjson in the folder.
void simulate_hour(const std::filesystem::path& folder);

/// A program that runs beside the test. Killed when it goes.
class Process {
 public:
  Process(const std::vector<std::string>& words, std::filesystem::path log);
  Process(const Process&) = delete;
  Process& operator=(const Process&) = delete;
  ~Process();
  void signal(int number) const;
  /// Its exit code; 128 + N when signal N ended it; none: it still runs after a minute.
  std::optional<int> wait();
  bool is_running();
  pid_t id() const { return id_; }
  std::string log() const { return read_file(log_); }

 private:
  bool reap(int flags);
  pid_t id_;
  std::filesystem::path log_;
  std::optional<int> code_;
};

/// A feed's source: listens on loopback and sends lines to whoever connects.
class Source {
 public:
  Source();
  Source(const Source&) = delete;
  Source& operator=(const Source&) = delete;
  ~Source();
  int port() const { return port_; }
  /// Waits for a peer where none is connected. False: a minute passed.
  bool await_peer();
  /// Sends all, to the peer that is connected or the next that comes; waits until the kernel has
  /// taken it. False: the peer went, or a minute passed.
  bool send(std::string_view text);
  std::size_t bytes_sent() const { return bytes_sent_; }  ///< may be asked from another thread
  /// Ends the connection, or resets it.
  void hang_up();
  int n_connections() const { return n_connections_; }

 private:
  int listener_, peer_ = -1, port_ = 0;
  std::atomic<std::size_t> bytes_sent_ = 0;
  std::atomic<int> n_connections_ = 0;
};

struct FeedEntry {
  std::string name, source;  ///< source: connect = "..." or listen = "..."
  std::string antenna = "collinear", receiver = "rx1";
  std::string layout = "ndjson";
};
/// The configuration of the hour's site, as text.
std::string configuration(const std::vector<FeedEntry>& feeds, double write_s = 0.5,
                          std::string_view more_of_store = "");

/// `roundeld run` on a configuration, with the page on a free port.
class Daemon {
 public:
  explicit Daemon(const std::filesystem::path& config);
  Process& process() { return process_; }
  int page_port() const { return port_; }
  /// Where a listening feed listens.
  int feed_port(std::string_view feed) const;
  /// The value of a sample of /metrics; 0: there is none.
  double metric(std::string_view sample) const;
  /// Lines counted so far. A few wait until others confirm them: at most `most_held` here.
  double received(std::string_view feed) const;
  static constexpr std::size_t most_held = 200;
  double queued(std::string_view feed) const;
  /// So many connections have ended, and all that they brought has been handed to the writer.
  bool has_read_to_the_end(std::string_view feed, int n_connections = 1) const;
  bool has_logged(std::string_view text) const;
  /// SIGTERM; its exit code.
  std::optional<int> stop();

 private:
  Process process_;
  int port_ = 0;
};

struct Answer {
  int status = 0;
  std::string body;
};
Answer get(int port, std::string_view path);

/// Runs a program to its end, its output as JSON. Throws with its message where it fails.
Json run_json(const std::vector<std::string>& words);

/// received less stored, repeats and all rejects: 0 where every line is counted once.
std::int64_t unaccounted(const Json& reports);
/// Holds the database's write lock, as a slow disk would.
class WriteLock {
 public:
  explicit WriteLock(const std::filesystem::path& database);
  WriteLock(const WriteLock&) = delete;
  WriteLock& operator=(const WriteLock&) = delete;
  ~WriteLock();

 private:
  sqlite3* connection_ = nullptr;
};

/// "ok", or what SQLite finds wrong with the database.
std::string integrity(const std::filesystem::path& database);

}  // namespace roundel::end_to_end
