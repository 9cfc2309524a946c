// A folder of its own for each test, and stores with something in them.
#pragma once
#include <gtest/gtest.h>
#include <sqlite3.h>
#include <stdlib.h>

#include <filesystem>
#include <fstream>
#include <iterator>
#include <stdexcept>
#include <string>
#include <vector>

#include "roundel/schema/store.h"

namespace roundel::schema {

/// The value, or a failed test that says why there is none.
template <class T>
T must(Result<T> result) {
  if (!result) throw std::runtime_error(result.error().line());
  if constexpr (!std::is_void_v<T>) return std::move(*result);
}

class Folder {
 public:
  Folder() {
    std::string name = (std::filesystem::temp_directory_path() / "roundel-test-XXXXXX").string();
    if (!mkdtemp(name.data())) throw std::runtime_error("no temporary folder");
    path_ = name;
  }
  Folder(const Folder&) = delete;
  Folder& operator=(const Folder&) = delete;
  ~Folder() {
    std::error_code ignored;
    std::filesystem::remove_all(path_, ignored);
  }
  std::filesystem::path operator/(const char* name) const { return path_ / name; }

 private:
  std::filesystem::path path_;
};

inline std::string bytes_of(const std::filesystem::path& file) {
  std::ifstream in(file, std::ios::binary);
  return {std::istreambuf_iterator<char>(in), {}};
}

/// The file as any other SQLite client sees it.
class Client {
 public:
  explicit Client(const std::filesystem::path& file) {
    if (sqlite3_open(file.c_str(), &connection_) != SQLITE_OK)
      throw std::runtime_error(sqlite3_errmsg(connection_));
  }
  Client(const Client&) = delete;
  Client& operator=(const Client&) = delete;
  ~Client() { sqlite3_close(connection_); }

  /// Rows as text, columns joined by '|', NULL as "NULL".
  std::vector<std::string> rows(const std::string& sql) {
    std::vector<std::string> out;
    char* message = nullptr;
    const auto add = [](void* to, int n, char** values, char**) {
      std::string row;
      for (int i = 0; i < n; ++i) {
        if (i > 0) row += '|';
        row += values[i] ? values[i] : "NULL";
      }
      static_cast<std::vector<std::string>*>(to)->push_back(row);
      return 0;
    };
    if (sqlite3_exec(connection_, sql.c_str(), add, &out, &message) != SQLITE_OK) {
      const std::string what = message;
      sqlite3_free(message);
      throw std::runtime_error(what);
    }
    return out;
  }
  std::string one(const std::string& sql) { return rows(sql).at(0); }

 private:
  sqlite3* connection_ = nullptr;
};

inline constexpr std::int64_t day_s = 1772323200;  // 2026-03-01T00:00:00Z, by GNU date
inline constexpr std::int64_t day_window = day_s / window_s;

inline Trial trial_on(const std::string& feed, const std::string& antenna, std::int64_t start_s) {
  Trial trial;
  trial.feed = feed;
  trial.antenna = antenna;
  trial.receiver = "rx1";
  trial.mount = "gable";
  trial.start_s = start_s;
  return trial;
}

inline Cell cell_at(std::int64_t window, Id flight, int heard = 12) {
  Cell cell;
  cell.window = window;
  cell.flight = flight;
  cell.heard = heard;
  cell.expected = chances_per_window;
  cell.latitude_deg = 52.3125;
  cell.longitude_deg = 19.8125;
  cell.altitude_ft = 36000;
  return cell;
}

inline Flight flight_of(Id id, Id trial, std::int64_t first_window) {
  Flight flight;
  flight.id = id;
  flight.trial = trial;
  flight.address = 0x4b1600u + static_cast<std::uint64_t>(id);
  flight.first_window = first_window;
  return flight;
}

inline std::vector<Cell> cells_of(const Store& store, const Selection& which = {}) {
  std::vector<Cell> cells;
  must(store.each_cell(which, [&](const Cell& cell) {
    cells.push_back(cell);
    return true;
  }));
  return cells;
}

}  // namespace roundel::schema
