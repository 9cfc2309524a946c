#include "daemon/program/sensitivity_watch.h"

#include <fmt/format.h>

#include <boost/asio/post.hpp>
#include <chrono>

#include "roundel/schema/store.h"
#include "roundel/trial/sensitivity.h"

namespace roundel::program {
namespace {

// What was written before the start is soon told; a restart loop must not read a month each time.
constexpr std::chrono::minutes first_look{10};
constexpr std::chrono::hours between_looks{24};

}  // namespace

Result<std::vector<serve::Reason>> lost_sensitivity(const schema::Store& store, double loss_db) {
  std::vector<serve::Reason> reasons;
  const auto trials = store.trials();
  if (!trials) return tl::unexpected(trials.error());
  for (const schema::Trial& trial : *trials) {
    if (trial.stop_s) continue;
    const auto change = trial::sensitivity_change(store, trial.id);
    if (!change) return tl::unexpected(change.error());
    if (!*change || (*change)->change_db > -loss_db || (*change)->high_db >= 0) continue;
    reasons.push_back(
        {"sensitivity_down", trial.feed,
         fmt::format(
             "{} on feed {} heard {:.1f} dB less in the last day than in the {} days before "
             "({:.1f} to {:.1f} dB, 95 %)",
             trial.antenna, trial.feed, -(*change)->change_db, (*change)->days, -(*change)->high_db,
             -(*change)->low_db),
         static_cast<double>((*change)->from_s)});
  }
  return reasons;
}

SensitivityWatch::SensitivityWatch(boost::asio::io_context& io, std::filesystem::path store,
                                   double loss_db, Log log)
    : io_(io), store_(std::move(store)), loss_db_(loss_db), log_(std::move(log)), timer_(io) {
  look_later(first_look);
}

SensitivityWatch::~SensitivityWatch() {
  if (thread_.joinable()) thread_.join();
}

void SensitivityWatch::look_later(boost::asio::steady_timer::duration time) {
  timer_.expires_after(time);
  timer_.async_wait([this](const boost::system::error_code& error) {
    if (!error) look();
  });
}

void SensitivityWatch::look() {
  if (thread_.joinable()) thread_.join();  // of a day ago
  thread_ =
      std::thread([&io = io_, into = reasons_, file = store_, loss_db = loss_db_, log = log_] {
        const auto store = schema::Store::open(file, schema::Store::Access::read);
        auto found = store ? lost_sensitivity(*store, loss_db) : tl::unexpected(store.error());
        if (!found)
          return log(Level::warning, fmt::format("sensitivity: {}", found.error().line()));
        boost::asio::post(io, [into, reasons = std::move(*found)] { *into = reasons; });
      });
  look_later(between_looks);
}

}  // namespace roundel::program
