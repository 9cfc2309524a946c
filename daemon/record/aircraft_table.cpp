#include "daemon/record/aircraft_table.h"

#include <algorithm>
#include <cassert>

namespace roundel::record {
namespace {

constexpr unsigned index_bits = 13;
constexpr std::size_t index_size = std::size_t{1} << index_bits;
static_assert(index_size >= 2 * AircraftTable::capacity);

// Addresses of one country share their first digits: Fibonacci hashing spreads them.
std::size_t hash(std::uint32_t address) { return (address * 2654435769U) >> (32 - index_bits); }

}  // namespace

AircraftTable::AircraftTable() : index_(index_size, -1) {}

std::size_t AircraftTable::slot_of(std::uint32_t address) const noexcept {
  std::size_t slot = hash(address);
  while (index_[slot] >= 0 &&
         aircraft_[static_cast<std::size_t>(index_[slot])].address != address) {
    slot = (slot + 1) % index_size;
  }
  return slot;
}

Aircraft* AircraftTable::find(std::uint32_t address) noexcept {
  const std::int32_t place = index_[slot_of(address)];
  return place < 0 ? nullptr : &aircraft_[static_cast<std::size_t>(place)];
}

Aircraft& AircraftTable::add(std::uint32_t address) {
  assert(address != 0 && aircraft_.size() < capacity && find(address) == nullptr);
  index_[slot_of(address)] = static_cast<std::int32_t>(aircraft_.size());
  Aircraft& added = aircraft_.emplace_back();
  added.address = address;
  return added;
}

void AircraftTable::index_anew() {
  std::ranges::fill(index_, -1);
  for (std::size_t i = 0; i < aircraft_.size(); ++i) {
    index_[slot_of(aircraft_[i].address)] = static_cast<std::int32_t>(i);
  }
}

}  // namespace roundel::record
