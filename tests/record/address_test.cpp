// Addresses recorded as keyed hashes: the hash, its key, and that flights are told apart as before.
#include <gmock/gmock.h>
#include <sys/stat.h>

#include <filesystem>
#include <fstream>
#include <numeric>
#include <set>

#include "daemon/record/address_key.h"
#include "tests/record/scene.h"
#include "tests/schema/store_fixture.h"

namespace roundel::record {
namespace {

// The example of appendix A of the paper named in siphash.h: key 00..0f, message 00..0e; and the
// first of the authors' vectors, the empty message. Both from memory.
TEST(SipHash, FitsItsAuthorsExamples) {
  SipKey key{};
  std::iota(key.begin(), key.end(), std::uint8_t{0});
  std::array<std::uint8_t, 15> message{};
  std::iota(message.begin(), message.end(), std::uint8_t{0});
  EXPECT_EQ(siphash(key, message), 0xa129ca6149be45e5U);
  EXPECT_EQ(siphash(key, std::span<const std::uint8_t>{}), 0x726fdb47dd0e0e31U);
}

TEST(AddressKey, IsMadeOnceForItsOwnerAlone) {
  const schema::Folder folder;
  const auto key = address_key(folder / "roundel.db");
  ASSERT_TRUE(key) << key.error().line();
  EXPECT_EQ(*address_key(folder / "roundel.db"), *key);
  EXPECT_NE(*address_key(folder / "other.db"), *key);
  struct stat file {};
  ASSERT_EQ(::stat((folder / "roundel.db.key").c_str(), &file), 0);
  EXPECT_EQ(file.st_mode & 0777U, 0600U);
}

TEST(AddressKey, WhatIsNoKeyIsOneLine) {
  for (const char* text :
       {"", "0123", "zz0102030405060708090a0b0c0d0e0f", "000102030405060708090a0b0c0d0e0f00"}) {
    const schema::Folder folder;
    std::ofstream(folder / "roundel.db.key") << text;
    const auto key = address_key(folder / "roundel.db");
    ASSERT_FALSE(key) << text;
    EXPECT_THAT(key.error().line(), testing::HasSubstr("roundel.db.key: is not a key"));
  }
}

// A collision would join two aircraft; among the 24-bit addresses a day brings there is none.
TEST(HiddenAddress, TellsAircraftApartAndIsNoAddress) {
  const SipKey key{1, 2, 3};
  std::set<std::uint32_t> hidden;
  for (std::uint32_t address = 0x400000; address < 0x400000 + 5000; ++address) {
    hidden.insert(hidden_address(key, address));
    EXPECT_GT(hidden_address(key, address), 0xffffffU);
  }
  EXPECT_GE(hidden.size(), 4999U);
  EXPECT_NE(hidden_address(SipKey{1}, 0x4b1617), hidden_address(SipKey{2}, 0x4b1617));
}

}  // namespace
}  // namespace roundel::record
