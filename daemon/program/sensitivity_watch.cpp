#include "daemon/program/sensitivity_watch.h"

#include <fmt/format.h>

#include <chrono>

#include "roundel/schema/store.h"
#include "roundel/trial/sensitivity.h"

namespace roundel::program {
namespace {

// What was written before the start is soon told; a restart loop must not read a month each time.
constexpr std::chrono::minutes first_look{10};
constexpr std::chrono::hours between_looks{24};

}  // namespace

Result<std::vector<serve::Sensitivity>> sensitivity_now(const schema::Store& store) {
  std::vector<serve::Sensitivity> out;
  const auto trials = store.trials();
  if (!trials) return tl::unexpected(trials.error());
  for (const schema::Trial& trial : *trials) {
    if (trial.stop_s) continue;
    const auto change = trial::sensitivity_change(store, trial.id);
    if (!change) return tl::unexpected(change.error());
    if (*change)
      out.push_back({trial.feed, trial.antenna, (*change)->change_db, (*change)->low_db,
                     (*change)->high_db, (*change)->days, (*change)->from_s});
  }
  return out;
}

SensitivityWatch::SensitivityWatch(boost::asio::io_context& io, std::filesystem::path store,
                                   Log log)
    : store_(std::move(store)), log_(std::move(log)), timer_(io) {
  look_later(first_look);
}

SensitivityWatch::~SensitivityWatch() {
  if (thread_.joinable()) thread_.join();
}

std::vector<serve::Sensitivity> SensitivityWatch::now() const {
  const std::scoped_lock lock(mutex_);
  return now_;
}

void SensitivityWatch::look_later(boost::asio::steady_timer::duration time) {
  timer_.expires_after(time);
  timer_.async_wait([this](const boost::system::error_code& error) {
    if (!error) look();
  });
}

void SensitivityWatch::look() {
  if (thread_.joinable()) thread_.join();  // of a day ago
  thread_ = std::thread([this] {
    const auto store = schema::Store::open(store_, schema::Store::Access::read);
    auto found = store ? sensitivity_now(*store) : tl::unexpected(store.error());
    if (!found) return log_(Level::warning, fmt::format("sensitivity: {}", found.error().line()));
    const std::scoped_lock lock(mutex_);
    now_ = std::move(*found);
  });
  look_later(between_looks);
}

}  // namespace roundel::program
