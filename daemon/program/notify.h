// Tells somebody, by a command of theirs, when recording fails and when it recovers.
#pragma once
#include <boost/asio/io_context.hpp>
#include <boost/asio/steady_timer.hpp>
#include <deque>
#include <string>
#include <vector>

#include "daemon/log.h"
#include "daemon/serve/health.h"

namespace roundel::program {

/// Runs `/bin/sh -c COMMAND` once for each change, one after another, with the change in the
/// environment: ROUNDEL_STATE (failing or recovered), ROUNDEL_REASON (a code of health.h),
/// ROUNDEL_FEED, ROUNDEL_TEXT, ROUNDEL_SITE. A command that has not ended after a minute is killed.
/// Failures are logged; recording never waits for it. Network thread only.
class Notifier {
 public:
  Notifier(boost::asio::io_context& io, std::string site, Log log);
  Notifier(const Notifier&) = delete;
  Notifier& operator=(const Notifier&) = delete;
  ~Notifier();  ///< kills a command that still runs

  /// Empty, as at first: changes are noted and nobody is told.
  void set_command(std::string command) { command_ = std::move(command); }
  /// How things stand now; nothing is run while that has not changed.
  void look(const std::vector<serve::Reason>& now);

 private:
  void run_next();
  void await_end();

  std::string command_;
  const std::string site_;
  const Log log_;
  std::vector<serve::Reason> known_;
  std::deque<serve::Alarm> waiting_;
  int child_ = 0;          // process id, 0: none
  int seconds_taken_ = 0;  // by the child
  boost::asio::steady_timer timer_;
};

}  // namespace roundel::program
