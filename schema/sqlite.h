// SQLite as values that clean up after themselves. Private to schema/; sqlite.cpp is the one place
// where SQLite's codes become Error.
#pragma once
#include <sqlite3.h>

#include <atomic>
#include <chrono>
#include <cstdint>
#include <filesystem>
#include <functional>
#include <memory>
#include <optional>
#include <string>
#include <string_view>

#include "roundel/result.h"

namespace roundel::schema {

/// A prepared statement; one that exists is usable. Must not outlive its Database.
///
/// Parameters are numbered from 1 in bind, columns from 0, as in SQLite.
class Statement {
 public:
  enum class Step { row, done, failed };

  void bind(int index, std::int64_t value);
  void bind(int index, double value);
  /// The text is copied.
  void bind(int index, std::string_view value);
  void bind(int index, std::nullopt_t);
  /// The bytes are copied.
  void bind_blob(int index, std::string_view bytes);
  template <class T>
  void bind(int index, const std::optional<T>& value) {
    if (value)
      bind(index, *value);
    else
      bind(index, std::nullopt);
  }

  /// The next row. After `done` or `failed` the statement may be bound and stepped anew.
  /// For loops over millions of rows; everything else is clearer with next().
  Step step() {
    const int code = sqlite3_step(handle_);
    return code == SQLITE_ROW ? Step::row : code == SQLITE_DONE ? Step::done : Step::failed;
  }
  /// True: there is a row.
  Result<bool> next();
  /// The integer of a query's one row, 0 for none or NULL; it may then be asked anew.
  Result<std::int64_t> single();
  /// Binds all parameters in order and runs to the end; rows are ignored.
  template <class... T>
  Result<void> run(const T&... values) {
    bind_all(values...);
    return finish();
  }
  template <class... T>
  void bind_all(const T&... values) {
    int index = 0;
    (bind(++index, values), ...);
  }

  std::int64_t integer(int column) const { return sqlite3_column_int64(handle_, column); }
  double real(int column) const;
  std::string text(int column) const;
  std::string blob(int column) const;
  bool is_null(int column) const { return sqlite3_column_type(handle_, column) == SQLITE_NULL; }
  std::optional<std::int64_t> optional_integer(int column) const;

  /// What went wrong in the step() that failed.
  Error error() const;
  void reset();

 private:
  friend class Database;
  struct Finalize {
    void operator()(sqlite3_stmt* statement) const noexcept;
  };
  Statement(sqlite3_stmt* statement, const std::string* file)
      : owner_(statement), handle_(statement), file_(file) {}
  Result<void> finish();

  std::unique_ptr<sqlite3_stmt, Finalize> owner_;
  sqlite3_stmt* handle_;  // the same, bare for the loops over millions of rows
  const std::string* file_;
};

/// One connection. Not for more than one thread at a time.
class Database {
 public:
  enum class Mode { read, write, create };

  /// Errc: io, disk_full. Touches nothing but the file's first bytes may be read later.
  static Result<Database> open(const std::filesystem::path& file, Mode mode);

  /// The first bytes of the file as they lie on disk (fewer if it is shorter), read without
  /// locking or changing anything. Through SQLite's own handle: to open and close the file a
  /// second time would drop the locks that this process holds on it (POSIX fcntl).
  Result<std::string> header() const;
  /// Leaves the write-ahead log alone when closing, as on a file that turns out not to be ours.
  void leave_log_on_close(bool leave);

  Result<Statement> prepare(std::string_view sql) const;
  /// Runs all statements of a text.
  Result<void> execute(const std::string& sql) const;
  /// The single integer of a query without parameters.
  Result<std::int64_t> integer(std::string_view sql) const;
  std::int64_t last_id() const;
  /// The file that was opened no longer stands under its name.
  bool has_moved() const;
  /// Makes `target` a copy of this database as it is at this moment, page by page; others may
  /// write meanwhile. @param progress  called now and then with the share that is done, [0, 1]
  Result<void> copy_to(Database& target, const std::function<void(double)>& progress) const;
  /// Makes WAL the journal mode of the file. False: its file system does not carry one.
  Result<bool> use_write_ahead_log() const;
  /// Moves the write-ahead log into the file and empties it. Waits that long for readers of older
  /// states to end, and lets nobody write meanwhile. False: they have not ended.
  bool empty_log(std::chrono::milliseconds wait);
  bool in_transaction() const;
  /// How long a call waits while another program writes; 10 s unless set.
  void wait_at_most(std::chrono::milliseconds time);
  /// Statements fail soon after this has become true.
  void stop_once(const std::atomic<bool>& is_over);
  const std::string& file() const { return *file_; }

 private:
  struct Close {
    void operator()(sqlite3* connection) const noexcept;
  };
  Database(sqlite3* connection, std::unique_ptr<std::string> file)
      : file_(std::move(file)), connection_(connection) {}

  std::unique_ptr<std::string> file_;  // at an address that survives a move: statements refer to it
  std::unique_ptr<sqlite3, Close> connection_;
  // A commit takes milliseconds; on a tired SD card, seconds.
  std::chrono::milliseconds patience_{10'000};
};

/// All or nothing. Undone by the destructor unless commit() has succeeded; never throws.
class Transaction {
 public:
  enum class Kind {
    read,       ///< one consistent view of the database over several statements
    write,      ///< waits for its turn among the writers before it begins
    exclusive,  ///< outside WAL also keeps readers out
  };
  static Result<Transaction> begin(const Database& database, Kind kind);
  Transaction(Transaction&& other) noexcept;
  Transaction& operator=(Transaction&&) = delete;
  ~Transaction();

  Result<void> commit();

 private:
  enum class State { open, ended };
  explicit Transaction(const Database* database) : database_(database) {}

  const Database* database_;
  State state_ = State::open;
};

}  // namespace roundel::schema
