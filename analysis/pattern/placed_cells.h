// Cells with where they stand, read and placed by one thread, looked at by others.
#pragma once
#include <functional>
#include <vector>

#include "roundel/result.h"
#include "roundel/schema/store.h"
#include "roundel/site/limit.h"
#include "roundel/site/sightline.h"

namespace roundel::pattern {

/// Some cells of a selection, in order.
struct PlacedCells {
  std::vector<schema::Cell> cells;
  std::vector<site::Sighting> sightings;  ///< of each cell
  std::vector<double> horizons_km;        ///< the limit there, as HorizonTable has it
};

using CellsVisitor = std::function<void(const PlacedCells&)>;

/// Shows every cell of a selection to each of the visitors, in order. Visitors run beside each
/// other (relay.h): what one writes, no other may touch. The store is read in the calling thread.
/// @param limit  a smooth-earth horizon, as for HorizonTable
Result<void> each_placed(const schema::Store& store, const schema::Selection& which,
                         const site::Viewpoint& viewpoint, const site::Limit& limit,
                         std::vector<CellsVisitor> visitors);

/// Calls `visit` with every cell of a selection whose flight is known, in order, beside the calling
/// thread.
/// @param flights  by id
Result<void> each_cell_of(const std::vector<schema::Flight>& flights, const schema::Store& store,
                          const schema::Selection& which, const site::Viewpoint& viewpoint,
                          const std::function<void(const schema::Cell&, const schema::Flight&,
                                                   const site::Sighting&)>& visit);

}  // namespace roundel::pattern
