#include "daemon/program/notify.h"

#include <fcntl.h>
#include <fmt/format.h>
#include <signal.h>
#include <spawn.h>
#include <sys/wait.h>
#include <unistd.h>

#include <chrono>
#include <cstring>

namespace roundel::program {
namespace {

constexpr int longest_s = 60;
// While a store flickers, the newest changes are those that matter.
constexpr std::size_t most_waiting = 32;

std::vector<std::string> environment_of(const serve::Alarm& alarm, const std::string& site) {
  std::vector<std::string> out;
  for (char** entry = environ; *entry != nullptr; ++entry)
    if (std::strncmp(*entry, "ROUNDEL_", 8) != 0) out.emplace_back(*entry);
  out.push_back(fmt::format("ROUNDEL_STATE={}", alarm.is_failing ? "failing" : "recovered"));
  out.push_back(fmt::format("ROUNDEL_REASON={}", alarm.reason.code));
  out.push_back(fmt::format("ROUNDEL_FEED={}", alarm.reason.feed));
  out.push_back(fmt::format("ROUNDEL_TEXT={}", alarm.reason.text));
  out.push_back(fmt::format("ROUNDEL_SITE={}", site));
  return out;
}

std::vector<char*> pointers(std::vector<std::string>& texts) {
  std::vector<char*> out;
  for (std::string& text : texts) out.push_back(text.data());
  out.push_back(nullptr);
  return out;
}

// A child of its own process group, with neither our input nor our sockets. 0 on failure.
int start_shell(const std::string& command, std::vector<std::string> environment) {
  posix_spawn_file_actions_t files;
  posix_spawnattr_t attributes;
  posix_spawn_file_actions_init(&files);
  posix_spawnattr_init(&attributes);
  posix_spawn_file_actions_addopen(&files, STDIN_FILENO, "/dev/null", O_RDONLY, 0);
  posix_spawn_file_actions_adddup2(&files, STDERR_FILENO, STDOUT_FILENO);
  posix_spawn_file_actions_addclosefrom_np(&files, STDERR_FILENO + 1);
  posix_spawnattr_setflags(&attributes, POSIX_SPAWN_SETPGROUP);
  std::vector<std::string> words{"/bin/sh", "-c", command};
  pid_t child = 0;
  const int failed = posix_spawn(&child, "/bin/sh", &files, &attributes, pointers(words).data(),
                                 pointers(environment).data());
  posix_spawnattr_destroy(&attributes);
  posix_spawn_file_actions_destroy(&files);
  return failed == 0 ? child : 0;
}

}  // namespace

Notifier::Notifier(boost::asio::io_context& io, std::string site, Log log)
    : site_(std::move(site)), log_(std::move(log)), timer_(io) {}

Notifier::~Notifier() {
  if (child_ == 0) return;
  ::kill(-child_, SIGKILL);
  ::waitpid(child_, nullptr, 0);
}

void Notifier::look(const std::vector<serve::Reason>& now) {
  for (serve::Alarm& alarm : serve::alarms(known_, now)) {
    waiting_.push_back(std::move(alarm));
    if (waiting_.size() > most_waiting) waiting_.pop_front();
  }
  if (child_ == 0) run_next();
}

void Notifier::run_next() {
  if (command_.empty()) waiting_.clear();
  if (waiting_.empty()) return;
  const serve::Alarm alarm = std::move(waiting_.front());
  waiting_.pop_front();
  child_ = start_shell(command_, environment_of(alarm, site_));
  if (child_ == 0) {
    log_(Level::error, "notify: /bin/sh cannot be started");
    return;
  }
  seconds_taken_ = 0;
  await_end();
}

void Notifier::await_end() {
  timer_.expires_after(std::chrono::seconds(1));
  timer_.async_wait([this](const boost::system::error_code& error) {
    if (error) return;
    int status = 0;
    if (::waitpid(child_, &status, WNOHANG) == 0) {
      if (++seconds_taken_ == longest_s) {
        log_(Level::warning, fmt::format("notify: the command was killed after {} s", longest_s));
        ::kill(-child_, SIGKILL);
      }
      return await_end();
    }
    child_ = 0;
    if (WIFEXITED(status) && WEXITSTATUS(status) != 0)
      log_(Level::warning, fmt::format("notify: the command ended with {}", WEXITSTATUS(status)));
    run_next();
  });
}

}  // namespace roundel::program
