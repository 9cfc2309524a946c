#include "roundel/pattern/reach.h"

namespace roundel::pattern {
namespace {

/// When recording began and ended on any feed, and trials of the selection.
Result<std::vector<std::int64_t>> recording_edges(const schema::Store& store,
                                                  const schema::Selection& which) {
  std::vector<std::int64_t> edges_s;
  const auto feeds = store.feeds();
  if (!feeds) return tl::unexpected(feeds.error());
  for (const auto& feed : *feeds) {
    const auto coverage = store.coverage(feed.id);
    if (!coverage) return tl::unexpected(coverage.error());
    for (const auto& interval : *coverage) {
      edges_s.push_back(interval.from_s);
      edges_s.push_back(interval.to_s);
    }
  }
  const auto trials = store.trials(which);
  if (!trials) return tl::unexpected(trials.error());
  for (const auto& trial : *trials) {
    edges_s.push_back(trial.start_s);
    if (trial.stop_s) edges_s.push_back(*trial.stop_s);
  }
  return edges_s;
}

}  // namespace

Result<Reach> reach(const schema::Store& store, const schema::Selection& which,
                    const ReachOptions& options) {
  if (auto ok = ReachBuilder::check(options); !ok) return tl::unexpected(ok.error());
  const auto site = store.site();
  if (!site) return tl::unexpected(site.error());
  if (!*site)
    return fail(Errc::not_found, "the database knows no site, so nothing has a bearing", "",
                "start roundeld run once with a [site] in its configuration");
  const auto viewpoint = site::Viewpoint::from(**site);
  if (!viewpoint) return tl::unexpected(viewpoint.error());
  const auto flights = store.flights(which);
  if (!flights) return tl::unexpected(flights.error());
  const auto edges_s = recording_edges(store, which);
  if (!edges_s) return tl::unexpected(edges_s.error());
  const auto limit = site::effective_earth_limit(*viewpoint);
  ReachBuilder builder(*viewpoint, *limit, options, *flights, *edges_s);
  const auto read = store.each_cell(which, [&](const schema::Cell& cell) {
    builder.add(cell);
    return true;
  });
  if (!read) return tl::unexpected(read.error());
  return builder.finish();
}

}  // namespace roundel::pattern
