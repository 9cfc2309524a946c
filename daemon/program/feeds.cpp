#include "daemon/program/feeds.h"

#include <fmt/format.h>

#include <algorithm>
#include <boost/asio/io_context.hpp>
#include <boost/asio/post.hpp>

namespace roundel::program {

Result<void> Feeds::start(const config::Feed& feed) {
  Entry& entry = entries_[feed.name];
  entry.feed = feed;
  // One that is only loaded from files is not live, and is missed by nobody.
  if (feed.is_live()) board_.set(feed.name, serve::FeedState::stopped);
  return connect(entry);
}

Result<void> Feeds::connect(Entry& entry) {
  const std::string& name = entry.feed.name;
  feed::Connection::Hooks hooks;
  hooks.offer = [this, name](feed::Intake& intake) { return writer_.offer(name, intake); };
  hooks.offer_last = [this, name](feed::Intake&& intake) {
    writer_.offer_last(name, std::move(intake));
  };
  hooks.state = [this, name](serve::FeedState state) { board_.set(name, state); };
  // Later, as the connection must not go within its own hook.
  hooks.stopped = [this, name] { boost::asio::post(io_, [this, name] { stopped(name); }); };
  hooks.log = [this, name](Level level, std::string_view line) {
    log_(level, fmt::format("feed \"{}\": {}", name, line));
  };
  auto connection = std::make_unique<feed::Connection>(io_, entry.feed, std::move(hooks));
  if (auto ok = connection->start(); !ok) return ok;
  if (const auto where = connection->listening()) {
    const bool is_loopback = where->host == "::1" || where->host.starts_with("127.");
    log_(Level::info, fmt::format("listening: feed \"{}\" on {}{}", name, where->text(),
                                  is_loopback ? "" : ", reachable from other machines"));
  }
  entry.connection = std::move(connection);
  return {};
}

void Feeds::begin(const config::Feed& feed) {
  writer_.post([feed](record::Recording& recording) { return recording.add_feed(feed); });
  if (const auto started = start(feed); !started) log_(Level::error, started.error().line());
}

void Feeds::retire(Entry& entry) {
  if (entry.is_stopping) return;
  entry.is_stopping = true;
  if (entry.connection)
    entry.connection->stop();
  else
    boost::asio::post(io_, [this, name = entry.feed.name] { stopped(name); });
}

void Feeds::stopped(const std::string& name) {
  const auto at = entries_.find(name);
  if (at == entries_.end()) return;
  const std::optional<config::Feed> next = std::move(at->second.next);
  entries_.erase(at);
  if (done_) return told_stop();
  if (next) {
    log_(Level::info, fmt::format("feed \"{}\" has changed", name));
    return begin(*next);
  }
  board_.remove(name);
  log_(Level::info, fmt::format("feed \"{}\" is no more", name));
  writer_.post([name](record::Recording& recording) { return recording.remove_feed(name); });
}

void Feeds::change(const std::vector<config::Feed>& feeds) {
  if (done_) return;
  for (auto& [name, entry] : entries_) {
    const auto wanted =
        std::find_if(feeds.begin(), feeds.end(),
                     [&, key = &name](const auto& feed) { return feed.name == *key; });
    if (wanted == feeds.end()) {
      entry.next.reset();
      retire(entry);
    } else if (entry.is_stopping || !entry.connection || !(*wanted == entry.feed)) {
      entry.next = *wanted;
      retire(entry);
    }
  }
  for (const config::Feed& feed : feeds) {
    if (entries_.contains(feed.name)) continue;
    log_(Level::info, fmt::format("feed \"{}\" is new", feed.name));
    begin(feed);
  }
}

void Feeds::stop(std::function<void()> done) {
  done_ = std::move(done);
  for (auto& [name, entry] : entries_) retire(entry);
  told_stop();
}

void Feeds::told_stop() {
  if (entries_.empty()) std::exchange(done_, [] {})();
}

void Feeds::room() {
  for (auto& [name, entry] : entries_)
    if (entry.connection) entry.connection->room();
}

}  // namespace roundel::program
