// roundeld run: records and serves until told to stop.
#include <fmt/format.h>

#include <boost/asio/executor_work_guard.hpp>
#include <boost/asio/io_context.hpp>
#include <boost/asio/post.hpp>
#include <boost/asio/signal_set.hpp>
#include <boost/asio/steady_timer.hpp>
#include <chrono>
#include <csignal>
#include <cstdlib>
#include <memory>
#include <mutex>
#include <optional>

#include "daemon/program/command.h"
#include "daemon/program/feeds.h"
#include "daemon/program/live_board.h"
#include "daemon/program/log.h"
#include "daemon/program/notify.h"
#include "daemon/program/sensitivity_watch.h"
#include "daemon/program/service.h"
#include "daemon/record/writer.h"
#include "roundel/config/config.h"
#include "roundel/serve/server.h"

namespace roundel::program {
namespace {

namespace asio = boost::asio;

constexpr std::chrono::seconds look_interval{1};
// A card that is worn out may take this long over one commit; longer, and a restart is better.
constexpr std::chrono::seconds longest_silence{120};

/// One run: the network thread is the one that calls it.
class Daemon {
 public:
  Daemon(config::Config config, Log log) : config_(std::move(config)), log_(std::move(log)) {}

  Result<int> run() {
    if (auto ok = start(); !ok) return tl::unexpected(ok.error());
    io_.run();
    if (!end_) return tl::unexpected(end_.error());
    log_(Level::info, "stopped, everything is written");
    return 0;
  }

 private:
  Result<void> start() {
    await_signals();
    auto recording = record::Recording::open({.store = config_.store,
                                              .site = config_.site,
                                              .rules = {},
                                              .keep = config_.keep,
                                              .hash_addresses = config_.hash_addresses,
                                              .is_file = false,
                                              .log = log_});
    if (!recording) return tl::unexpected(recording.error());
    for (const config::Feed& feed : config_.feeds)
      if (auto ok = recording->add_feed(feed); !ok) return ok;
    log_(Level::info, fmt::format("recording into {}", config_.store.string()));

    record::Writer::Options options;
    options.write_s = config_.write_s;
    options.queue_reports = static_cast<std::size_t>(config_.queue_reports);
    options.log = log_;
    options.on_room = [this] { asio::post(io_, [this] { feeds_->room(); }); };
    options.on_end = [this](Result<void> end) {
      asio::post(io_, [this, end = std::move(end)] { ended(end); });
    };
    writer_ = std::make_unique<record::Writer>(std::move(*recording), std::move(options));
    feeds_ = std::make_unique<Feeds>(io_, *writer_, board_, log_);
    sensitivity_.emplace(io_, config_.store, log_);
    const auto started = start_listening();
    // What has been started must end in good order, too.
    if (!started) return abandon(started.error());
    notifier_.emplace(io_, config_.site.name, log_);
    notifier_->set_command(config_.notify_command);
    look();
    service_.ready();
    service_.watch([this] {
      return std::chrono::steady_clock::now() - writer_->status().alive < longest_silence;
    });
    return {};
  }

  Result<void> start_listening() {
    for (const config::Feed& feed : config_.feeds)
      if (auto ok = feeds_->start(feed); !ok) return ok;
    if (!config_.web) return {};
    serve::Server::Options options;
    options.listen = *config_.web;
    options.store = config_.store;
    options.names = config_.web_names;
    options.token = config_.web_token;
    options.expect = config_.expect;
    options.live = [this] { return live(); };
    auto server = serve::Server::start(std::move(options));
    if (!server) return tl::unexpected(server.error());
    server_.emplace(std::move(*server));
    log_(Level::info, fmt::format("listening: page on http://{}/",
                                  config::Endpoint{config_.web->host, server_->port()}.text()));
    return {};
  }

  // On the network thread and the page's.
  serve::Live live() {
    auto out = board_.snapshot(*writer_, static_cast<std::size_t>(config_.queue_reports));
    if (sensitivity_) out.sensitivity = sensitivity_->now();
    const std::chrono::duration<double> steady =
        std::chrono::steady_clock::now().time_since_epoch();
    const std::lock_guard lock(health_mutex_);
    out.failing = health_.look(out, {.silent_after_s = silent_after_s_, .write_s = config_.write_s},
                               steady.count());
    return out;
  }

  // Looks again and again whether everything is recorded, and tells who wants to know.
  void look() {
    const serve::Live now = live();
    auto reasons = now.failing;
    if (config_.sensitivity_db) {
      const auto lost = serve::lost_sensitivity(now.sensitivity, *config_.sensitivity_db);
      reasons.insert(reasons.end(), lost.begin(), lost.end());
    }
    notifier_->look(reasons);
    look_timer_.expires_after(look_interval);
    look_timer_.async_wait([this](const boost::system::error_code& error) {
      if (!error && !is_stopping_) look();
    });
  }

  Result<void> abandon(const Error& error) {
    stop();
    io_.run();
    return tl::unexpected(error);
  }

  void await_signals() {
    signals_.async_wait([this](const boost::system::error_code& error, int signal) {
      if (error) return;
      if (signal == SIGHUP) {
        reread();
      } else if (is_stopping_) {
        // Asked twice: at once, whatever is lost by it.
        std::_Exit(1);
      } else {
        log_(Level::info, "stopping");
        stop();
      }
      await_signals();
    });
  }

  void reread() {
    const auto config = config::load(config_.file);
    if (!config) {
      log_(Level::error,
           fmt::format("the configuration stays as it was: {}", config.error().line()));
      return;
    }
    for (const std::string& key : config::changed_settings(config_, *config))
      if (!key.starts_with("[notify]"))
        log_(Level::warning, fmt::format("{} has changed: that takes a restart", key));
    config_.sensitivity_db = config->sensitivity_db;
    notifier_->set_command(config->notify_command);
    {
      const std::lock_guard lock(health_mutex_);
      silent_after_s_ = config->silent_after_s;
    }
    log_(Level::info, "the configuration has been read again");
    feeds_->change(config->feeds);
  }

  // Feeds hand over what they have read, then the writer writes it, then the run ends.
  void stop() {
    is_stopping_ = true;
    service_.stopping();
    look_timer_.cancel();
    feeds_->stop([this] { writer_->stop(); });
  }

  void ended(const Result<void>& end) {
    end_ = end;
    if (!is_stopping_) {
      // Nobody asked: the database is gone. Feeds end first, and the service manager starts anew.
      is_stopping_ = true;
      service_.stopping();
      look_timer_.cancel();
      feeds_->stop([this] { end_all(); });
    } else {
      end_all();
    }
  }

  void end_all() {
    server_.reset();
    sensitivity_.reset();
    notifier_.reset();
    signals_.cancel();
    work_.reset();
  }

  config::Config config_;
  Log log_;
  LiveBoard board_;
  asio::io_context io_{1};
  asio::executor_work_guard<asio::io_context::executor_type> work_ = asio::make_work_guard(io_);
  asio::signal_set signals_{io_, SIGINT, SIGTERM, SIGHUP};
  std::unique_ptr<record::Writer> writer_;
  std::unique_ptr<Feeds> feeds_;
  std::mutex health_mutex_;
  serve::Health health_;                            // guarded by it
  double silent_after_s_ = config_.silent_after_s;  // guarded by it
  std::optional<serve::Server> server_;
  Service service_{io_};
  std::optional<Notifier> notifier_;
  std::optional<SensitivityWatch> sensitivity_;
  asio::steady_timer look_timer_{io_};
  bool is_stopping_ = false;
  Result<void> end_;
};

Result<int> run_daemon(const std::string& file) {
  auto config = config::load(file);
  if (!config) return tl::unexpected(config.error());
  bool has_live_feed = false;
  for (const config::Feed& feed : config->feeds) has_live_feed = has_live_feed || feed.is_live();
  if (!has_live_feed && !config->web)
    return fail(Errc::bad_config, "no feed connects or listens, and the page is off", file,
                "add connect or listen to a [[feed]]");
  return Daemon(std::move(*config), standard_log()).run();
}

}  // namespace

void add_run(CLI::App& app, Run& run) {
  const auto file = std::make_shared<std::string>();
  CLI::App* command = app.add_subcommand("run", "Record and serve until stopped");
  command->add_option("--config", *file, "The configuration, roundel.toml")
      ->required()
      ->type_name("FILE");
  command->footer(
      "SIGTERM or SIGINT: stop, everything written. SIGHUP: read the configuration anew.");
  command->callback([file, &run] { run = [file] { return run_daemon(*file); }; });
}

}  // namespace roundel::program
