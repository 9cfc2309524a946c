// What a database's trials tell apart.
#include "analysis/pattern/placed_cells.h"
#include "roundel/pattern/verdict.h"
#include "roundel/trial/separate.h"

namespace roundel::trial {

Result<Separation> separate(const schema::Store& store, const schema::Selection& which,
                            double confidence) {
  if (auto ok = pattern::check_confidence(confidence); !ok) return tl::unexpected(ok.error());
  const auto viewpoint = site::Viewpoint::of(store);
  if (!viewpoint) return tl::unexpected(viewpoint.error());
  auto trials = store.trials(which);
  if (!trials) return tl::unexpected(trials.error());
  const auto flights = store.flights(which);
  if (!flights) return tl::unexpected(flights.error());
  // A trial in which nothing was heard says nothing of its parts.
  std::erase_if(*trials, [&](const schema::Trial& trial) {
    return std::none_of(flights->begin(), flights->end(),
                        [&](const schema::Flight& one) { return one.trial == trial.id; });
  });
  if (trials->empty())
    return fail(Errc::too_little, "nothing was heard in the trials selected", "",
                "wait for traffic, or choose others");
  SeparateBuilder builder(*viewpoint, *trials, confidence);
  const auto read = pattern::each_cell_of(
      *flights, store, which, *viewpoint,
      [&](const schema::Cell& cell, const schema::Flight& flight, const site::Sighting& sighting) {
        builder.add(cell, flight, sighting);
      });
  if (!read) return tl::unexpected(read.error());
  return builder.finish();
}

}  // namespace roundel::trial
