// A disk that fills up, is read-only, or loses the database: on a file system of a few megabytes.
#include <gtest/gtest.h>
#include <signal.h>
#include <sys/mount.h>
#include <sys/statvfs.h>
#include <unistd.h>

#include <atomic>
#include <cerrno>
#include <cstring>
#include <fstream>

#include "tests/faults/recorded.h"

namespace roundel::faults {
namespace {

/// A file system in memory over a folder, as long as this lives.
class SmallDisk {
 public:
  explicit SmallDisk(const std::filesystem::path& at) : at_(at) {
    std::filesystem::create_directory(at_);
    if (mount("tmpfs", at_.c_str(), "tmpfs", 0, "size=4m") != 0) error_ = errno;
  }
  SmallDisk(const SmallDisk&) = delete;
  SmallDisk& operator=(const SmallDisk&) = delete;
  ~SmallDisk() {
    if (error_ == 0) umount2(at_.c_str(), MNT_DETACH);
  }
  std::string error() const { return error_ == 0 ? "" : std::strerror(error_); }
  bool set_read_only() const {
    return mount("tmpfs", at_.c_str(), "tmpfs", MS_REMOUNT | MS_RDONLY, "size=4m") == 0;
  }
  std::uint64_t free_bytes() const {
    struct statvfs now {};
    statvfs(at_.c_str(), &now);
    return static_cast<std::uint64_t>(now.f_bavail) * now.f_bsize;
  }
  /// Fills all but so much.
  void fill(std::uint64_t leave_bytes) const {
    std::ofstream filler(at_ / "filler", std::ios::binary);
    filler << std::string(free_bytes() - leave_bytes, 'x');
  }
  void make_room() const { std::filesystem::remove(at_ / "filler"); }

 private:
  std::filesystem::path at_;
  int error_ = 0;
};

class Disk : public Recorded {
 protected:
  void SetUp() override {
    if (!disk_.error().empty()) GTEST_SKIP() << "no tmpfs can be mounted: " << disk_.error();
    auto text = configuration({{.name = "roof", .source = connect(source_)}}, 0.2);
    const std::string path = "path = \"roundel.db\"";
    text.replace(text.find(path), path.size(), "path = \"disk/roundel.db\"");
    write_file(config(), text);
  }
  std::string on_disk() const { return (folder_ / "disk/roundel.db").string(); }
  Json counted() const { return run_json({roundel, "status", on_disk(), "--json"})["reports"]; }

  /// Lines sent. How much fits is the file system's and the database's own affair, so traffic goes
  /// on until the test has seen the disk full, with some left to come when there is room again.
  std::int64_t send_until_it_is_full() {
    std::int64_t sent = 0;
    for (int quarters = 0; quarters < 24; ++quarters) {
      const bool is_last = is_full_now_;
      const std::string text = traffic_.next(900);
      if (!source_.send(text)) break;
      sent += n_lines(text);
      if (is_last) break;
    }
    return sent;
  }

  SmallDisk disk_{folder_ / "disk"};
  Source source_;
  Traffic traffic_{40};
  std::atomic<bool> is_full_now_ = false;
};

TEST_F(Disk, ThatIsFullPausesRecordingAndLosesNothing) {
  Daemon daemon(config());
  const std::string text = traffic_.next(120);
  std::int64_t sent = n_lines(text);
  EXPECT_TRUE(source_.send(text));
  EXPECT_TRUE(eventually([&] { return counted()["received"] > sent / 2; }));
  disk_.fill(60'000);
  std::thread sender([&] { sent += send_until_it_is_full(); });
  EXPECT_TRUE(eventually([&] { return daemon.has_logged("recording waits"); }))
      << daemon.process().log();
  is_full_now_ = true;
  EXPECT_TRUE(daemon.has_logged("no space left to write; free some space"));
  EXPECT_EQ(get(daemon.page_port(), "/health").status, 503);
  EXPECT_EQ(unaccounted(counted()), 0) << "what is there can be read meanwhile";
  disk_.make_room();
  sender.join();
  source_.hang_up();
  EXPECT_TRUE(eventually([&] { return daemon.has_logged("recording goes on"); }));
  EXPECT_TRUE(eventually([&] { return daemon.has_read_to_the_end("roof"); }));
  EXPECT_EQ(daemon.stop(), 0) << daemon.process().log();
  EXPECT_EQ(counted()["received"], sent);
  EXPECT_EQ(unaccounted(counted()), 0);
  EXPECT_EQ(integrity(on_disk()), "ok");
  measured("full disk: {} lines sent, {} recorded, 0 lost", sent,
           counted()["received"].get<std::int64_t>());
}

TEST_F(Disk, ThatIsFullAtTheEndLosesWhatItSays) {
  Daemon daemon(config());
  EXPECT_TRUE(source_.send(traffic_.next(120)));
  EXPECT_TRUE(eventually([&] { return counted()["received"] > 4000; }));
  disk_.fill(100'000);
  std::thread sender([&] { send_until_it_is_full(); });
  EXPECT_TRUE(eventually([&] { return daemon.has_logged("recording waits"); }));
  is_full_now_ = true;
  EXPECT_EQ(daemon.stop(), 1);
  EXPECT_TRUE(daemon.has_logged("what came since the last commit is lost, and "))
      << daemon.process().log();
  sender.join();  // to a daemon that is gone nothing can be sent
  source_.hang_up();
  disk_.make_room();
  EXPECT_EQ(unaccounted(counted()), 0);
  EXPECT_EQ(integrity(on_disk()), "ok");
}

TEST_F(Disk, ThatIsReadOnlyIsRefusedInOneLine) {
  {
    Daemon daemon(config());
    EXPECT_TRUE(source_.send(traffic_.next(10)));
    EXPECT_TRUE(eventually([&] { return counted()["received"] > 0; }));
    EXPECT_EQ(daemon.stop(), 0);
  }
  ASSERT_TRUE(disk_.set_read_only());
  Process refused({roundeld, "run", "--config", config().string()}, folder_ / "refused.log");
  EXPECT_EQ(refused.wait(), 1);
  EXPECT_NE(refused.log().find("Read-only file system"), std::string::npos) << refused.log();
  EXPECT_EQ(n_lines(refused.log()), 1) << refused.log();
}

}  // namespace
}  // namespace roundel::faults
