#include "analysis/pattern/placed_cells.h"

#include <utility>

#include "analysis/pattern/flights_by_id.h"
#include "analysis/pattern/horizon_table.h"
#include "analysis/pattern/relay.h"

namespace roundel::pattern {
namespace {

// Enough that handing over costs nothing, few enough to stay in a core's cache.
constexpr std::size_t cells_at_once = 4096;

}  // namespace

Result<void> each_placed(const schema::Store& store, const schema::Selection& which,
                         const site::Viewpoint& viewpoint, const site::Limit& limit,
                         std::vector<CellsVisitor> visitors) {
  HorizonTable horizons(limit);
  Relay<PlacedCells> relay(std::move(visitors));
  PlacedCells* batch = &relay.next();
  const auto hand_over = [&] {
    const std::size_t n = batch->cells.size();
    batch->sightings.resize(n);
    batch->horizons_km.resize(n);
    viewpoint.sight(batch->cells, batch->sightings);
    for (std::size_t i = 0; i < n; ++i)
      batch->horizons_km[i] =
          horizons.at(batch->sightings[i].line.bearing_deg, batch->cells[i].altitude_ft);
    relay.hand_over();
    batch = &relay.next();
    batch->cells.clear();
  };
  batch->cells.clear();
  const auto read = store.each_cell(which, [&](const schema::Cell& cell) {
    batch->cells.push_back(cell);
    if (batch->cells.size() == cells_at_once) hand_over();
    return true;
  });
  hand_over();
  relay.finish();
  return read;
}

Result<void> each_cell_of(const std::vector<schema::Flight>& flights, const schema::Store& store,
                          const schema::Selection& which, const site::Viewpoint& viewpoint,
                          const std::function<void(const schema::Cell&, const schema::Flight&,
                                                   const site::Sighting&)>& visit) {
  const auto limit = site::effective_earth_limit(viewpoint);
  const FlightsById by_id(flights);
  return each_placed(store, which, viewpoint, *limit, {[&](const PlacedCells& some) {
                       for (std::size_t i = 0; i < some.cells.size(); ++i)
                         if (const auto* flight = by_id.find(some.cells[i].flight))
                           visit(some.cells[i], *flight, some.sightings[i]);
                     }});
}

}  // namespace roundel::pattern
