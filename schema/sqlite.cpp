#include "schema/sqlite.h"

#include <fmt/format.h>
#include <unistd.h>

#include <algorithm>
#include <cassert>
#include <cerrno>
#include <cstring>
#include <thread>

#include "schema/page_watch.h"

namespace roundel::schema {
namespace {

// A file-size limit and a quota are a full disk to whoever meets them. SQLite says FULL for ENOSPC
// alone, and its sqlite3_system_errno() says nothing of failed writes (3.40): the files know.
bool out_of_space(sqlite3* connection, int code) {
  if (code == SQLITE_IOERR_SHMSIZE) return true;  // the log's index could not grow
  if (!connection) return false;
  for (const int which : {SQLITE_FCNTL_FILE_POINTER, SQLITE_FCNTL_JOURNAL_POINTER}) {
    sqlite3_file* handle = nullptr;
    int error = 0;
    if (sqlite3_file_control(connection, "main", which, &handle) == SQLITE_OK && handle &&
        handle->pMethods &&
        handle->pMethods->xFileControl(handle, SQLITE_FCNTL_LAST_ERRNO, &error) == SQLITE_OK &&
        (error == EFBIG || error == EDQUOT || error == ENOSPC))
      return true;
  }
  return false;
}

// The one place where SQLite's codes become ours.
Error make_error(sqlite3* connection, int code, const std::string& file) {
  const int system_error = connection ? sqlite3_system_errno(connection) : 0;
  const auto error = [&](Errc errc, std::string what, std::string remedy) {
    return Error{errc, std::move(what), file, std::move(remedy)};
  };
  switch (code & 0xff) {
    case SQLITE_BUSY:
    case SQLITE_LOCKED:
      return error(Errc::busy, "another process is writing to this database", "try again");
    case SQLITE_CORRUPT:
      return error(Errc::corrupt, "the database is damaged",
                   "restore a copy, or save what can be read with sqlite3's .recover");
    case SQLITE_NOTADB:
      return error(Errc::not_a_store, "not a Roundel database", "check the path");
    case SQLITE_FULL:
      return error(Errc::disk_full, "no space left to write", "free some space");
    case SQLITE_READONLY:
      return error(Errc::io, "the database cannot be written by this user",
                   "check the permissions of the file and its folder");
    case SQLITE_CANTOPEN:
      return error(Errc::io,
                   fmt::format("cannot be opened{}{}", system_error ? ": " : "",
                               system_error ? std::strerror(system_error) : ""),
                   "check the path and the permissions of the file and its folder");
    case SQLITE_IOERR:
      if (out_of_space(connection, code))
        return error(Errc::disk_full, "no space left to write", "free some space");
      return error(Errc::io,
                   fmt::format("reading or writing failed{}{}", system_error ? ": " : "",
                               system_error ? std::strerror(system_error) : ""),
                   "check the disk");
    case SQLITE_CONSTRAINT:
      return error(Errc::out_of_range,
                   fmt::format("a value is outside what the table accepts ({})",
                               connection ? sqlite3_errmsg(connection) : sqlite3_errstr(code)),
                   {});
    default:
      return error(Errc::io,
                   fmt::format("SQLite reports: {}",
                               connection ? sqlite3_errmsg(connection) : sqlite3_errstr(code)),
                   {});
  }
}

}  // namespace

// --- Statement -----------------------------------------------------------------------------------

void Statement::Finalize::operator()(sqlite3_stmt* statement) const noexcept {
  sqlite3_finalize(statement);
}

// Binding fails only for a wrong index or while stepping: both are mistakes in schema/.
void Statement::bind(int index, std::int64_t value) {
  [[maybe_unused]] const int code = sqlite3_bind_int64(handle_, index, value);
  assert(code == SQLITE_OK);
}

void Statement::bind(int index, double value) {
  [[maybe_unused]] const int code = sqlite3_bind_double(handle_, index, value);
  assert(code == SQLITE_OK);
}

void Statement::bind(int index, std::string_view value) {
  [[maybe_unused]] const int code =
      sqlite3_bind_text64(handle_, index, value.data() ? value.data() : "", value.size(),
                          SQLITE_TRANSIENT, SQLITE_UTF8);
  assert(code == SQLITE_OK);
}

void Statement::bind(int index, std::nullopt_t) {
  [[maybe_unused]] const int code = sqlite3_bind_null(handle_, index);
  assert(code == SQLITE_OK);
}

void Statement::bind_blob(int index, std::string_view bytes) {
  [[maybe_unused]] const int code = sqlite3_bind_blob64(
      handle_, index, bytes.data() ? bytes.data() : "", bytes.size(), SQLITE_TRANSIENT);
  assert(code == SQLITE_OK);
}

Result<bool> Statement::next() {
  const Step step_result = step();
  if (step_result != Step::failed) return step_result == Step::row;
  auto failure = error();
  reset();
  return tl::unexpected(std::move(failure));
}

Result<std::int64_t> Statement::single() {
  const auto row = next();
  ROUNDEL_TRY(row);
  const std::int64_t value = *row ? integer(0) : 0;
  reset();
  return value;
}

Result<void> Statement::finish() {
  Step last{};
  while ((last = step()) == Step::row) {
  }
  if (last == Step::failed) {
    auto failure = error();
    reset();
    return tl::unexpected(std::move(failure));
  }
  reset();
  return {};
}

double Statement::real(int column) const { return sqlite3_column_double(handle_, column); }

std::string Statement::text(int column) const {
  const auto* data = reinterpret_cast<const char*>(sqlite3_column_text(handle_, column));
  const int size = sqlite3_column_bytes(handle_, column);
  return data ? std::string(data, static_cast<std::size_t>(size)) : std::string();
}

std::string Statement::blob(int column) const {
  const auto* data = static_cast<const char*>(sqlite3_column_blob(handle_, column));
  const int size = sqlite3_column_bytes(handle_, column);
  return data ? std::string(data, static_cast<std::size_t>(size)) : std::string();
}

std::optional<std::int64_t> Statement::optional_integer(int column) const {
  if (is_null(column)) return std::nullopt;
  return integer(column);
}

Error Statement::error() const {
  sqlite3* connection = sqlite3_db_handle(handle_);
  return make_error(connection, sqlite3_extended_errcode(connection), *file_);
}

void Statement::reset() { sqlite3_reset(handle_); }

// --- Database ------------------------------------------------------------------------------------

void Database::Close::operator()(sqlite3* connection) const noexcept {
  [[maybe_unused]] const int code = sqlite3_close(connection);
  assert(code == SQLITE_OK && "a statement outlived its database");
}

Result<Database> Database::open(const std::filesystem::path& file, Mode mode) {
  int flags = SQLITE_OPEN_NOMUTEX | SQLITE_OPEN_EXRESCODE;
  flags |= mode == Mode::read ? SQLITE_OPEN_READONLY : SQLITE_OPEN_READWRITE;
  if (mode == Mode::create) flags |= SQLITE_OPEN_CREATE;
  sqlite3* raw = nullptr;
  // A leading "./" keeps a file called ":memory:" or "" from meaning something else to SQLite.
  const std::string name = file.is_absolute() ? file.string() : "./" + file.string();
  // Readers of millions of cells look into the pages themselves.
  const char* const vfs = mode == Mode::read ? page_watching_vfs() : nullptr;
  const int code = sqlite3_open_v2(name.c_str(), &raw, flags, vfs);
  Database database(raw, std::make_unique<std::string>(file.string()));
  if (code != SQLITE_OK) return tl::unexpected(make_error(raw, code, database.file()));
  // SQLite is content to read what it may not write, and fails later and less clearly.
  if (mode != Mode::read && sqlite3_db_readonly(raw, "main") == 1) {
    const bool may = ::access(name.c_str(), W_OK) == 0;
    return fail(
        Errc::io,
        fmt::format("cannot be written{}{}", may ? "" : ": ", may ? "" : std::strerror(errno)),
        database.file(), "check the file system, and the permissions of the file and folder");
  }
  database.wait_at_most(database.patience_);
  return database;
}

Result<std::string> Database::header() const {
  sqlite3_file* handle = nullptr;
  int code = sqlite3_file_control(connection_.get(), "main", SQLITE_FCNTL_FILE_POINTER, &handle);
  sqlite3_int64 size = 0;
  if (code == SQLITE_OK) code = handle->pMethods->xFileSize(handle, &size);
  std::string bytes(static_cast<std::size_t>(std::min<sqlite3_int64>(size, 100)), '\0');
  if (code == SQLITE_OK && !bytes.empty())
    code = handle->pMethods->xRead(handle, bytes.data(), static_cast<int>(bytes.size()), 0);
  if (code != SQLITE_OK) return tl::unexpected(make_error(connection_.get(), code, *file_));
  return bytes;
}

void Database::leave_log_on_close(bool leave) {
  sqlite3_db_config(connection_.get(), SQLITE_DBCONFIG_NO_CKPT_ON_CLOSE, leave ? 1 : 0, nullptr);
}

Result<Statement> Database::prepare(std::string_view sql) const {
  sqlite3_stmt* raw = nullptr;
  const int code = sqlite3_prepare_v3(connection_.get(), sql.data(), static_cast<int>(sql.size()),
                                      SQLITE_PREPARE_PERSISTENT, &raw, nullptr);
  if (code != SQLITE_OK) return tl::unexpected(make_error(connection_.get(), code, *file_));
  return Statement(raw, file_.get());
}

Result<void> Database::execute(const std::string& sql) const {
  const int code = sqlite3_exec(connection_.get(), sql.c_str(), nullptr, nullptr, nullptr);
  if (code != SQLITE_OK) return tl::unexpected(make_error(connection_.get(), code, *file_));
  return {};
}

Result<std::int64_t> Database::integer(std::string_view sql) const {
  auto statement = prepare(sql);
  if (!statement) return tl::unexpected(statement.error());
  const auto row = statement->next();
  if (!row) return tl::unexpected(row.error());
  return *row ? statement->integer(0) : 0;
}

std::int64_t Database::last_id() const { return sqlite3_last_insert_rowid(connection_.get()); }

bool Database::has_moved() const {
  int moved = 0;
  return sqlite3_file_control(connection_.get(), "main", SQLITE_FCNTL_HAS_MOVED, &moved) ==
             SQLITE_OK &&
         moved != 0;
}

Result<void> Database::copy_to(Database& target,
                               const std::function<void(double)>& progress) const {
  // Within a read transaction every step sees one moment, and none begins anew when another
  // connection commits.
  auto moment = Transaction::begin(*this, Transaction::Kind::read);
  if (!moment) return tl::unexpected(moment.error());
  if (const auto begun = integer("SELECT count(*) FROM sqlite_master"); !begun)
    return tl::unexpected(begun.error());
  constexpr int pages_at_once = 256;
  sqlite3_backup* copy =
      sqlite3_backup_init(target.connection_.get(), "main", connection_.get(), "main");
  int code = copy == nullptr ? sqlite3_errcode(target.connection_.get()) : SQLITE_OK;
  while (code == SQLITE_OK) {
    code = sqlite3_backup_step(copy, pages_at_once);
    const int all = sqlite3_backup_pagecount(copy);
    if (progress && all > 0)
      progress(static_cast<double>(all - sqlite3_backup_remaining(copy)) / all);
  }
  const int ended = sqlite3_backup_finish(copy);
  if (code == SQLITE_DONE) code = ended;
  if (code != SQLITE_OK)
    return tl::unexpected(make_error(target.connection_.get(), code, *target.file_));
  return moment->commit();
}

void Database::stop_once(const std::atomic<bool>& is_over) {
  // Some steps of a query that reads summaries may take a millisecond each.
  constexpr int instructions_between = 100;
  sqlite3_progress_handler(
      connection_.get(), instructions_between,
      [](void* flag) { return static_cast<const std::atomic<bool>*>(flag)->load() ? 1 : 0; },
      const_cast<std::atomic<bool>*>(&is_over));
}

void Database::wait_at_most(std::chrono::milliseconds time) {
  patience_ = time;
  sqlite3_busy_timeout(connection_.get(), static_cast<int>(time.count()));
}

Result<bool> Database::use_write_ahead_log() const {
  // SQLite waits for others before it reads or writes, and not before it changes the journal mode
  // (3.40): who meets another that opens the same new file is told "busy" at once. So the wait is
  // here, as SQLite's own is: short naps.
  constexpr std::chrono::milliseconds nap{5};
  const auto give_up_at = std::chrono::steady_clock::now() + patience_;
  for (;;) {
    auto mode = prepare("PRAGMA journal_mode = WAL");
    const auto row = mode ? mode->next() : tl::unexpected(mode.error());
    if (row) return *row && mode->text(0) == "wal";
    if (row.error().code != Errc::busy || std::chrono::steady_clock::now() >= give_up_at)
      return tl::unexpected(row.error());
    std::this_thread::sleep_for(nap);
  }
}

bool Database::empty_log(std::chrono::milliseconds wait) {
  sqlite3_busy_timeout(connection_.get(), static_cast<int>(wait.count()));
  const int code = sqlite3_wal_checkpoint_v2(connection_.get(), "main", SQLITE_CHECKPOINT_TRUNCATE,
                                             nullptr, nullptr);
  wait_at_most(patience_);
  return code == SQLITE_OK;
}

bool Database::in_transaction() const { return sqlite3_get_autocommit(connection_.get()) == 0; }

// --- Transaction ---------------------------------------------------------------------------------

Result<Transaction> Transaction::begin(const Database& database, Kind kind) {
  const char* const sql = kind == Kind::read    ? "BEGIN"
                          : kind == Kind::write ? "BEGIN IMMEDIATE"
                                                : "BEGIN EXCLUSIVE";
  if (auto begun = database.execute(sql); !begun) return tl::unexpected(begun.error());
  return Transaction(&database);
}

Transaction::Transaction(Transaction&& other) noexcept
    : database_(other.database_), state_(std::exchange(other.state_, State::ended)) {}

Transaction::~Transaction() {
  // Some failures (disk full) make SQLite roll back by itself: then nothing is left to undo.
  if (state_ == State::open && database_->in_transaction())
    static_cast<void>(database_->execute("ROLLBACK"));
}

Result<void> Transaction::commit() {
  assert(state_ == State::open);
  auto committed = database_->execute("COMMIT");
  if (committed) state_ = State::ended;
  return committed;
}

}  // namespace roundel::schema
