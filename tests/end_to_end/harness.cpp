#include "tests/end_to_end/harness.h"

#include <arpa/inet.h>
#include <fcntl.h>
#include <fmt/format.h>
#include <netinet/in.h>
#include <poll.h>
#include <signal.h>
#include <sqlite3.h>
#include <stdlib.h>
#include <sys/socket.h>
#include <sys/wait.h>
#include <unistd.h>

#include <fstream>
#include <iterator>
#include <sstream>
#include <stdexcept>

#include "tests/program/run_program.h"
#include "tests/serve/client.h"

namespace roundel::end_to_end {
namespace {

constexpr std::chrono::seconds patience{60};

// What a run before it has logged is not this one's.
std::filesystem::path fresh(std::filesystem::path file) {
  std::filesystem::remove(file);
  return file;
}

}  // namespace

const std::string roundel = ROUNDEL_BINARY_DIR "/analysis/program/roundel";
const std::string roundeld = ROUNDEL_BINARY_DIR "/daemon/program/roundeld";

bool eventually(const std::function<bool()>& condition) {
  const auto end = Clock::now() + patience;
  while (!condition()) {
    if (Clock::now() > end) return false;
    std::this_thread::sleep_for(std::chrono::milliseconds(20));
  }
  return true;
}

Folder::Folder() {
  std::string name = (std::filesystem::temp_directory_path() / "roundel-whole-XXXXXX").string();
  if (!mkdtemp(name.data())) throw std::runtime_error("no temporary folder");
  path_ = name;
}

Folder::~Folder() {
  std::error_code ignored;
  std::filesystem::remove_all(path_, ignored);
}

std::string read_file(const std::filesystem::path& file) {
  std::ifstream in(file, std::ios::binary);
  return {std::istreambuf_iterator<char>(in), {}};
}

void write_file(const std::filesystem::path& file, std::string_view text) {
  std::ofstream(file, std::ios::binary) << text;
}

std::vector<std::string> lines_of(const std::filesystem::path& file) {
  std::ifstream in(file);
  std::vector<std::string> lines;
  for (std::string line; std::getline(in, line);) lines.push_back(line);
  return lines;
}

std::string joined(const std::vector<std::string>& lines, std::size_t from, std::size_t to) {
  std::string out;
  for (std::size_t i = from; i < to; ++i) out += lines[i] + "\n";
  return out;
}

void simulate_hour(const std::filesystem::path& folder) {
  const Ran ran = run_program(roundel,
                              {"simulate", ROUNDEL_SCENARIO, "--out-dir", folder.string(),
                               "--truth", (folder / "truth.json").string()},
                              folder);
  if (ran.code != 0) throw std::runtime_error(ran.err);
}

// --- Process -----------------------------------------------------------------------------------

Process::Process(const std::vector<std::string>& words, std::filesystem::path log)
    : log_(std::move(log)) {
  std::vector<char*> arguments;
  for (const std::string& word : words) arguments.push_back(const_cast<char*>(word.c_str()));
  arguments.push_back(nullptr);
  const std::string log_name = log_.string();
  id_ = fork();
  if (id_ < 0) throw std::runtime_error("cannot fork");
  if (id_ == 0) {
    const int out = open(log_name.c_str(), O_WRONLY | O_CREAT | O_APPEND, 0600);
    dup2(out, STDOUT_FILENO);
    dup2(out, STDERR_FILENO);
    execv(arguments[0], arguments.data());
    _exit(127);
  }
}

Process::~Process() {
  if (reap(WNOHANG)) return;
  kill(id_, SIGKILL);
  reap(0);
}

bool Process::reap(int flags) {
  if (code_) return true;
  int status = 0;
  if (waitpid(id_, &status, flags) != id_) return false;
  code_ = WIFEXITED(status) ? WEXITSTATUS(status) : 128 + WTERMSIG(status);
  return true;
}

void Process::signal(int number) const { kill(id_, number); }

bool Process::is_running() { return !reap(WNOHANG); }

std::optional<int> Process::wait() {
  eventually([&] { return reap(WNOHANG); });
  return code_;
}

// --- Source ------------------------------------------------------------------------------------

Source::Source() : listener_(socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0)) {
  // Small, so that what is sent has nearly been read.
  const int small = 32 * 1024;
  setsockopt(listener_, SOL_SOCKET, SO_SNDBUF, &small, sizeof small);
  sockaddr_in address{};
  address.sin_family = AF_INET;
  address.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
  socklen_t length = sizeof address;
  if (bind(listener_, reinterpret_cast<sockaddr*>(&address), length) != 0 ||
      listen(listener_, 4) != 0 ||
      getsockname(listener_, reinterpret_cast<sockaddr*>(&address), &length) != 0)
    throw std::runtime_error("cannot listen on loopback");
  port_ = ntohs(address.sin_port);
}

Source::~Source() {
  hang_up();
  close(listener_);
}

bool Source::await_peer() {
  if (peer_ >= 0) return true;
  pollfd wanted{listener_, POLLIN, 0};
  if (poll(&wanted, 1, static_cast<int>(std::chrono::milliseconds(patience).count())) != 1)
    return false;
  peer_ = accept4(listener_, nullptr, nullptr, SOCK_CLOEXEC);
  if (peer_ < 0) return false;
  ++n_connections_;
  const timeval minute{.tv_sec = patience.count(), .tv_usec = 0};
  setsockopt(peer_, SOL_SOCKET, SO_SNDTIMEO, &minute, sizeof minute);
  // One segment of the loopback fills a small buffer: each would wait for an acknowledgement that
  // is held back for 40 ms.
  constexpr int buffer_bytes = 1 << 20;
  setsockopt(peer_, SOL_SOCKET, SO_SNDBUF, &buffer_bytes, sizeof buffer_bytes);
  return true;
}

bool Source::send(std::string_view text) {
  if (!await_peer()) return false;
  while (!text.empty()) {
    const auto n = ::send(peer_, text.data(), text.size(), MSG_NOSIGNAL);
    if (n <= 0) return false;
    bytes_sent_ += static_cast<std::size_t>(n);
    text.remove_prefix(static_cast<std::size_t>(n));
  }
  return true;
}

void Source::hang_up() {
  if (peer_ >= 0) close(peer_);
  peer_ = -1;
}

// --- Daemon ------------------------------------------------------------------------------------

std::string configuration(const std::vector<FeedEntry>& feeds, double write_s,
                          std::string_view more_of_store) {
  std::string out = fmt::format(R"([site]
name = "Hill house"
latitude = 52.1
longitude = 19.4
ground_m = 110
antenna_m = 12
surface_m = 100
[store]
path = "roundel.db"
write_s = {}
{}
[[antenna]]
name = "collinear"
[[antenna]]
name = "spider"
[[receiver]]
name = "rx1"
[[receiver]]
name = "rx2"
[[mount]]
name = "gable"
[web]
listen = "127.0.0.1:0"
[layout.text]
kind = "columns"
delimiter = ";"
time = 1
address = 2
latitude = 3
longitude = 4
altitude_ft = 5
)",
                                write_s, more_of_store);
  for (const FeedEntry& feed : feeds)
    out += fmt::format(
        "[[feed]]\nname = \"{}\"\n{}\nlayout = \"{}\"\nantenna = \"{}\"\nreceiver = \"{}\"\n"
        "mount = \"gable\"\n",
        feed.name, feed.source, feed.layout, feed.antenna, feed.receiver);
  return out;
}

Daemon::Daemon(const std::filesystem::path& config)
    : process_({roundeld, "run", "--config", config.string()},
               fresh(config.parent_path() / "roundeld.log")) {
  const std::string mark = "page on http://127.0.0.1:";
  std::string log;
  eventually([&] {
    log = process_.log();
    const auto found = log.rfind(mark);
    return !process_.is_running() ||
           (found != log.npos && log.find('/', found + mark.size()) != log.npos);
  });
  const auto at = log.rfind(mark);
  if (at == log.npos) throw std::runtime_error("roundeld did not start: " + log);
  port_ = std::stoi(log.substr(at + mark.size()));
}

int Daemon::feed_port(std::string_view feed) const {
  const std::string mark = fmt::format("listening: feed \"{}\" on 127.0.0.1:", feed);
  const std::string log = process_.log();
  const auto at = log.rfind(mark);
  return at == log.npos ? 0 : std::stoi(log.substr(at + mark.size()));
}

double Daemon::metric(std::string_view sample) const {
  const std::string body = get(port_, "/metrics").body;
  const auto at = body.find("\n" + std::string(sample) + " ");
  return at == body.npos ? 0 : std::stod(body.substr(at + sample.size() + 2));
}

double Daemon::received(std::string_view feed) const {
  return metric(fmt::format("roundel_reports_received_total{{feed=\"{}\"}}", feed));
}

double Daemon::queued(std::string_view feed) const {
  return metric(fmt::format("roundel_feed_queue{{feed=\"{}\"}}", feed));
}

bool Daemon::has_read_to_the_end(std::string_view feed, int n_connections) const {
  const std::string of_feed = fmt::format("feed \"{}\": connection ", feed);
  std::istringstream log(process_.log());
  for (std::string line; std::getline(log, line);)
    if (line.find(of_feed) != line.npos && line.find("closed by the other side") != line.npos)
      --n_connections;
  return n_connections <= 0;
}

bool Daemon::has_logged(std::string_view text) const {
  return process_.log().find(text) != std::string::npos;
}

std::optional<int> Daemon::stop() {
  process_.signal(SIGTERM);
  return process_.wait();
}

Answer get(int port, std::string_view path) {
  serve::Client client(port);
  auto received = client.get(path);
  return {received.status, std::move(received.body)};
}

// --- What is stored ----------------------------------------------------------------------------

Json run_json(const std::vector<std::string>& words) {
  Folder scratch;
  const Ran ran = run_program(words.front(), {words.begin() + 1, words.end()}, scratch.path());
  if (ran.code != 0) throw std::runtime_error(ran.err);
  return Json::parse(ran.out);
}

std::int64_t unaccounted(const Json& reports) {
  auto left = reports.at("received").get<std::int64_t>() -
              reports.at("stored").get<std::int64_t>() - reports.at("repeats").get<std::int64_t>();
  for (const auto& [reason, count] : reports.at("rejected").items())
    left -= count.get<std::int64_t>();
  return left;
}

WriteLock::WriteLock(const std::filesystem::path& database) {
  if (sqlite3_open(database.c_str(), &connection_) != SQLITE_OK ||
      sqlite3_busy_timeout(connection_, 10'000) != SQLITE_OK ||
      sqlite3_exec(connection_, "BEGIN IMMEDIATE", nullptr, nullptr, nullptr) != SQLITE_OK)
    throw std::runtime_error(sqlite3_errmsg(connection_));
}

WriteLock::~WriteLock() { sqlite3_close(connection_); }

std::string integrity(const std::filesystem::path& database) {
  sqlite3* connection = nullptr;
  std::string found;
  const auto take = [](void* into, int, char** columns, char**) {
    *static_cast<std::string*>(into) += columns[0];
    return 0;
  };
  if (sqlite3_open(database.c_str(), &connection) != SQLITE_OK ||
      sqlite3_exec(connection, "PRAGMA integrity_check", take, &found, nullptr) != SQLITE_OK)
    found = sqlite3_errmsg(connection);
  sqlite3_close(connection);
  return found;
}

}  // namespace roundel::end_to_end
