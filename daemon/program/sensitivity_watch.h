// Asks once a day whether the running trials have lost sensitivity.
#pragma once
#include <boost/asio/io_context.hpp>
#include <boost/asio/steady_timer.hpp>
#include <filesystem>
#include <mutex>
#include <thread>
#include <vector>

#include "daemon/log.h"
#include "roundel/serve/live.h"

namespace roundel::program {

/// Of the running trials, those whose last day can be told. Errc as the store.
Result<std::vector<serve::Sensitivity>> sensitivity_now(const schema::Store& store);

/// Looks a while after the start and every day from then on, on a thread of its own: some seconds
/// of reading on a small board.
class SensitivityWatch {
 public:
  /// All but now() on the network thread.
  SensitivityWatch(boost::asio::io_context& io, std::filesystem::path store, Log log);
  SensitivityWatch(const SensitivityWatch&) = delete;
  SensitivityWatch& operator=(const SensitivityWatch&) = delete;
  ~SensitivityWatch();  ///< waits for a look under way
  /// As of the last look. On any thread.
  std::vector<serve::Sensitivity> now() const;

 private:
  void look_later(boost::asio::steady_timer::duration time);
  void look();

  std::filesystem::path store_;
  Log log_;
  boost::asio::steady_timer timer_;
  std::thread thread_;
  mutable std::mutex mutex_;
  std::vector<serve::Sensitivity> now_;
};

}  // namespace roundel::program
