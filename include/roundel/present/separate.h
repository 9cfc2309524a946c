// What is the antenna's, the mount's, the receiver's: as sentences and as JSON.
#pragma once
#include <string>

#include "roundel/trial/separate.h"

namespace roundel::present {

/// The largest thing that is told apart of each part, or that nothing is.
std::string separate_sentence(const trial::Separation& separation);

/// The object of the interface: antennas[] and mounts[] {name, harmonics[] {order, amplitude_db,
/// phase_deg, low_db, high_db, identified}, pattern[] {bearing_deg, gain_db, low_db, high_db},
/// offset_db, offset_low_db, offset_high_db, offset_identified}, receivers[] {name, offset_db,
/// low_db, high_db, identified}, not_identified[], advice[], arrangements[], sentence. What is not
/// identified is null.
std::string separate_json(const trial::Separation& separation);

}  // namespace roundel::present
