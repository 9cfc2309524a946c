// Asks once a day whether the running trials have lost sensitivity.
#pragma once
#include <boost/asio/io_context.hpp>
#include <boost/asio/steady_timer.hpp>
#include <filesystem>
#include <memory>
#include <thread>
#include <vector>

#include "daemon/log.h"
#include "daemon/serve/health.h"

namespace roundel::program {

/// Which running trials' last day fell by `loss_db` or more below their earlier days, and by more
/// than days differ by chance. Code: `sensitivity_down`. Errc as the store.
Result<std::vector<serve::Reason>> lost_sensitivity(const schema::Store& store, double loss_db);

/// Looks a while after the start and every day from then on, on a thread of its own: some seconds
/// of reading on a small board. All functions on the network thread.
class SensitivityWatch {
 public:
  SensitivityWatch(boost::asio::io_context& io, std::filesystem::path store, double loss_db,
                   Log log);
  SensitivityWatch(const SensitivityWatch&) = delete;
  SensitivityWatch& operator=(const SensitivityWatch&) = delete;
  ~SensitivityWatch();  ///< waits for a look under way
  /// As of the last look.
  const std::vector<serve::Reason>& reasons() const { return *reasons_; }

 private:
  void look_later(boost::asio::steady_timer::duration time);
  void look();

  boost::asio::io_context& io_;
  std::filesystem::path store_;
  double loss_db_;
  Log log_;
  boost::asio::steady_timer timer_;
  std::thread thread_;
  // Shared with an answer that comes after the end.
  std::shared_ptr<std::vector<serve::Reason>> reasons_ =
      std::make_shared<std::vector<serve::Reason>>();
};

}  // namespace roundel::program
