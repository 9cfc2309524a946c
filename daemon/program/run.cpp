// roundeld run: records feeds and serves what was concluded.
#include <fmt/format.h>

#include <boost/asio/executor_work_guard.hpp>
#include <boost/asio/io_context.hpp>
#include <boost/asio/post.hpp>
#include <boost/asio/signal_set.hpp>
#include <chrono>
#include <csignal>
#include <map>
#include <memory>
#include <mutex>
#include <optional>
#include <string>
#include <utility>

#include "daemon/feed/connection.h"
#include "daemon/program/command.h"
#include "daemon/program/log.h"
#include "daemon/record/writer.h"
#include "roundel/config/config.h"
#include "roundel/serve/server.h"

namespace roundel::program {
namespace {

namespace asio = boost::asio;

double now_s() {
  return std::chrono::duration<double>(std::chrono::system_clock::now().time_since_epoch()).count();
}

bool is_same(const config::Feed& a, const config::Feed& b) {
  const auto endpoint = [](const std::optional<config::Endpoint>& e) {
    return e ? fmt::format("{}|{}", e->host, e->port) : std::string();
  };
  return endpoint(a.connect) == endpoint(b.connect) && endpoint(a.listen) == endpoint(b.listen) &&
         a.layout == b.layout && a.antenna == b.antenna && a.receiver == b.receiver &&
         a.mount == b.mount && a.rotation_deg == b.rotation_deg &&
         a.clock_is_arrival == b.clock_is_arrival && a.stall_s == b.stall_s &&
         a.max_connections == b.max_connections;
}

// Everything that runs. All members but `states_` belong to the network thread.
class Service {
 public:
  Service(config::Config config, Log log)
      : config_(std::move(config)),
        log_(std::move(log)),
        work_(asio::make_work_guard(io_)),
        signals_(io_, SIGINT, SIGTERM, SIGHUP) {}

  Result<int> run() {
    record::Recording::Options opening;
    opening.store = config_.store;
    opening.site = config_.site;
    opening.log = log_;
    auto recording = record::Recording::open(std::move(opening));
    if (!recording) return tl::unexpected(recording.error());
    for (const config::Feed& feed : config_.feeds)
      if (auto added = recording->add_feed(feed); !added) return tl::unexpected(added.error());

    record::Writer::Options options;
    options.write_s = config_.write_s;
    options.log = log_;
    options.on_room = [this] {
      asio::post(io_, [this] {
        for (auto& [name, connection] : connections_) connection->room();
      });
    };
    options.on_end = [this](Result<void> ended) {
      asio::post(io_, [this, ended = std::move(ended)] {
        ended_ = ended;
        work_.reset();
        signals_.cancel();
      });
    };
    writer_ = std::make_unique<record::Writer>(std::move(*recording), std::move(options));

    for (const config::Feed& feed : config_.feeds)
      if (auto started = open(feed); !started) return tl::unexpected(started.error());
    if (auto served = serve(); !served) return tl::unexpected(served.error());
    wait_for_signal();
    log_(Level::info,
         fmt::format("recording {} feed(s) to {}", config_.feeds.size(), config_.store.string()));
    io_.run();
    server_.reset();
    writer_.reset();
    if (!ended_) return tl::unexpected(ended_.error());
    log_(Level::info, "stopped; everything received is written");
    return 0;
  }

 private:
  Result<void> open(const config::Feed& feed) {
    if (!feed.connect && !feed.listen) return {};
    feed::Connection::Hooks hooks;
    hooks.offer = [this, name = feed.name](feed::Intake& intake) {
      return writer_->offer(name, intake);
    };
    hooks.offer_last = [this, name = feed.name](feed::Intake&& intake) {
      writer_->offer_last(name, std::move(intake));
    };
    hooks.state = [this, name = feed.name](serve::FeedState state) {
      const std::lock_guard lock(mutex_);
      states_[name] = {state, now_s()};
    };
    auto limited = std::make_shared<LimitedLog>(log_);
    hooks.log = [limited, name = feed.name](Level level, std::string_view line) {
      (*limited)(level, fmt::format("feed {}: {}", name, line));
    };
    auto connection = std::make_unique<feed::Connection>(io_, feed, std::move(hooks));
    if (auto started = connection->start(); !started) return started;
    if (const auto at = connection->listening())
      log_(Level::info, fmt::format("feed {}: listening on {}:{}", feed.name, at->host, at->port));
    connections_[feed.name] = std::move(connection);
    return {};
  }

  Result<void> serve() {
    if (!config_.web) return {};
    serve::Server::Options options;
    options.listen = *config_.web;
    options.store = config_.store;
    options.live = [this] { return live(); };
    options.names = config_.web_names;
    options.token = config_.web_token;
    auto server = serve::Server::start(std::move(options));
    if (!server) return tl::unexpected(server.error());
    server_.emplace(std::move(*server));
    log_(Level::info, fmt::format("page at http://{}:{}/", config_.web->host, server_->port()));
    return {};
  }

  serve::Live live() {
    serve::Live out;
    out.now_s = now_s();
    out.started_s = started_s_;
    const record::Writer::Status status = writer_->status();
    out.store_state = status.store_state;
    out.last_commit_s = status.last_commit_s;
    out.last_commit_took_s = status.last_commit_took_s;
    const std::lock_guard lock(mutex_);
    for (const record::Recording::Counts& counts : status.feeds) {
      serve::FeedLive feed;
      feed.name = counts.feed;
      if (const auto state = states_.find(counts.feed); state != states_.end()) {
        feed.state = state->second.state;
        feed.state_since_s = state->second.since_s;
      }
      feed.last_report_s = counts.last_report_s;
      feed.feed_time_s = counts.live.feed_time_s;
      feed.received = counts.live.received;
      feed.stored = counts.live.stored;
      feed.repeats = counts.live.repeats;
      feed.rejected = counts.live.rejected;
      feed.aircraft = static_cast<std::int64_t>(counts.live.aircraft);
      feed.farthest_km = counts.live.farthest_km;
      if (const auto queued = status.queued.find(counts.feed); queued != status.queued.end())
        feed.queued = queued->second;
      feed.queue_limit = record::Writer::Options{}.queue_reports;
      for (const auto& [reason, count] : counts.rejects) feed.rejects.emplace_back(reason, count);
      out.feeds.push_back(std::move(feed));
    }
    return out;
  }

  void wait_for_signal() {
    signals_.async_wait([this](const boost::system::error_code& error, int signal) {
      if (error) return;
      if (signal == SIGHUP) {
        reread();
      } else if (is_stopping_) {
        log_(Level::warning, "stopping at once");
        std::_Exit(1);
      } else {
        stop();
      }
      wait_for_signal();
    });
  }

  void stop() {
    is_stopping_ = true;
    log_(Level::info, "stopping");
    for (auto& [name, connection] : connections_) connection->stop();
    writer_->stop();
  }

  // Feeds that are new, gone or changed; all else keeps running. An unsound file changes nothing.
  void reread() {
    auto fresh = config::load(config_.file);
    if (!fresh) {
      log_(Level::error, "configuration not reread: " + fresh.error().line());
      return;
    }
    std::map<std::string, const config::Feed*> wanted;
    for (const config::Feed& feed : fresh->feeds) wanted[feed.name] = &feed;
    int changes = 0;
    for (const config::Feed& old : config_.feeds) {
      const auto found = wanted.find(old.name);
      if (found != wanted.end() && is_same(old, *found->second)) {
        wanted.erase(found);
        continue;
      }
      ++changes;
      close(old.name);
      if (found == wanted.end())
        writer_->post([name = old.name](record::Recording& r) { return r.remove_feed(name); });
    }
    for (const auto& [name, feed] : wanted) {
      ++changes;
      writer_->post([copy = *feed](record::Recording& r) { return r.add_feed(copy); });
      if (auto opened = open(*feed); !opened)
        log_(Level::error, fmt::format("feed {}: {}", name, opened.error().line()));
    }
    config_.feeds = fresh->feeds;
    config_.layouts = fresh->layouts;
    log_(Level::info, fmt::format("configuration reread: {} feed(s) changed", changes));
  }

  void close(const std::string& name) {
    const auto found = connections_.find(name);
    if (found == connections_.end()) return;
    found->second->stop();
    // It may still be called from what waits in the io_context; it goes when the service does.
    closed_.push_back(std::move(found->second));
    connections_.erase(found);
  }

  struct StateSince {
    serve::FeedState state = serve::FeedState::stopped;
    double since_s{};
  };

  config::Config config_;
  Log log_;
  const double started_s_ = now_s();
  asio::io_context io_{1};
  asio::executor_work_guard<asio::io_context::executor_type> work_;
  asio::signal_set signals_;
  std::unique_ptr<record::Writer> writer_;
  std::map<std::string, std::unique_ptr<feed::Connection>> connections_;
  std::vector<std::unique_ptr<feed::Connection>> closed_;
  std::optional<serve::Server> server_;
  Result<void> ended_;
  bool is_stopping_ = false;
  std::mutex mutex_;  // guards states_
  std::map<std::string, StateSince> states_;
};

}  // namespace

void add_run(CLI::App& app, Run& run) {
  const auto file = std::make_shared<std::string>();
  CLI::App* command = app.add_subcommand("run", "Record feeds and serve the page");
  command->add_option("--config", *file, "roundel.toml")->required();
  command->callback([file, &run] {
    run = [file]() -> Result<int> {
      auto config = config::load(*file);
      if (!config) return tl::unexpected(config.error());
      return Service(std::move(*config), make_log()).run();
    };
  });
}

}  // namespace roundel::program
