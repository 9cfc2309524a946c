// A fault test's recording: a folder, a configuration, a database, and what the programs say of it.
#pragma once
#include "tests/end_to_end/harness.h"
#include "tests/faults/faults.h"

namespace roundel::faults {

using namespace end_to_end;

class Recorded : public testing::Test {
 protected:
  std::filesystem::path config() const { return folder_ / "roundel.toml"; }
  std::string database() const { return (folder_ / "roundel.db").string(); }
  Json status() const { return run_json({roundel, "status", database(), "--json"}); }
  std::int64_t received() const { return status()["reports"]["received"].get<std::int64_t>(); }
  static std::string connect(const Source& source) {
    return fmt::format("connect = \"127.0.0.1:{}\"", source.port());
  }
  static constexpr const char* listen = "listen = \"127.0.0.1:0\"";
  void configure(const std::string& source, double write_s = 0.5,
                 std::string_view more_of_store = "", std::string_view more_of_feed = "") {
    auto text = configuration({{.name = "roof", .source = source}}, write_s, more_of_store);
    write_file(config(), text + std::string(more_of_feed));
  }
  /// Every line counted once, nothing wrong in the file, summaries as their cells say.
  void expect_whole() const {
    EXPECT_EQ(unaccounted(status()["reports"]), 0) << status()["reports"];
    EXPECT_EQ(integrity(database()), "ok");
    Process verify({roundel, "status", database(), "--verify"}, folder_ / "verify.log");
    EXPECT_EQ(verify.wait(), 0) << verify.log();
  }

  Folder folder_;
};

/// A line of /proc/PID/status, kB; 0: the process is gone.
inline double memory_kb(const Process& process, std::string_view name) {
  const std::string text = read_file(fmt::format("/proc/{}/status", process.id()));
  const auto at = text.find(std::string(name) + ":");
  return at == text.npos ? 0 : std::strtod(text.c_str() + at + name.size() + 1, nullptr);
}

}  // namespace roundel::faults
