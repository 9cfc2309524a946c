#include "daemon/serve/answer.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <nlohmann/json.hpp>
#include <string>

#include "daemon/serve/gzip.h"

namespace roundel::serve {
namespace {

TEST(Problem, IsAProblemDetailsObject) {
  // RFC 9457, section 3: media type, members; "type" absent means "about:blank", whose title
  // should be the status' phrase (section 4.2.1).
  const Answer answer = problem(404, "no antenna \"x\"");
  EXPECT_EQ(answer.status, 404);
  EXPECT_EQ(answer.content_type, "application/problem+json");
  const auto json = nlohmann::json::parse(answer.body);
  EXPECT_EQ(json, (nlohmann::json{
                      {"title", "Not Found"}, {"status", 404}, {"detail", "no antenna \"x\""}}));
}

TEST(Problem, BytesThatAreNoTextAreReplaced) {
  const auto json = nlohmann::json::parse(problem(400, "\xff").body);
  EXPECT_EQ(json["detail"], "\xEF\xBF\xBD");  // U+FFFD
}

TEST(Problem, EveryErrorHasAStatus) {
  struct Row {
    Errc code;
    int status;
  };
  // RFC 9110, section 15; 507: RFC 4918, section 11.5.
  const Row rows[] = {
      {Errc::bad_usage, 400}, {Errc::bad_config, 400},  {Errc::out_of_range, 400},
      {Errc::malformed, 400}, {Errc::not_found, 404},   {Errc::too_little, 422},
      {Errc::busy, 503},      {Errc::not_a_store, 503}, {Errc::newer_schema, 503},
      {Errc::disk_full, 507}, {Errc::corrupt, 500},     {Errc::io, 500},
  };
  for (const auto& row : rows) {
    EXPECT_EQ(http_status(row.code), row.status) << static_cast<int>(row.code);
    EXPECT_NE(phrase(row.status), "Unknown") << row.status;
  }
}

TEST(Problem, SaysWhenToComeBackIfThatHelps) {
  const Answer busy = problem(Error{Errc::busy, "locked", "roundel.db", ""});
  EXPECT_THAT(busy.headers, testing::Contains(testing::Pair("Retry-After", testing::_)));
  EXPECT_TRUE(problem(404, "").headers.empty());
}

TEST(EntityTag, IsFnv1aWithTheLength) {
  // 64-bit FNV-1a of "", "a", "foobar": test vectors of draft-eastlake-fnv, appendix C.
  EXPECT_EQ(entity_tag(""), "\"cbf29ce484222325-0\"");
  EXPECT_EQ(entity_tag("a"), "\"af63dc4c8601ec8c-1\"");
  EXPECT_EQ(entity_tag("foobar"), "\"85944171f73967e8-6\"");
}

TEST(Render, CompressesWhatIsLongAndTagsWhatSucceeded) {
  const Rendered brief = render({.body = std::string(1024, 'x')});
  EXPECT_TRUE(brief.gzipped.empty());
  const Rendered lengthy = render({.body = std::string(1025, 'x')});
  EXPECT_LT(lengthy.gzipped.size(), 100u);
  EXPECT_EQ(lengthy.etag, entity_tag(lengthy.answer.body));
  EXPECT_EQ(render(problem(404, "")).etag, "");
}

TEST(Gzip, ReadsWhatTheGzipProgramWrote) {
  // printf 'hello\n' | gzip -n | xxd -i
  const unsigned char packed[] = {0x1f, 0x8b, 0x08, 0x00, 0x00, 0x00, 0x00, 0x00, 0x00,
                                  0x03, 0xcb, 0x48, 0xcd, 0xc9, 0xc9, 0xe7, 0x02, 0x00,
                                  0x20, 0x30, 0x3a, 0x36, 0x06, 0x00, 0x00, 0x00};
  const std::string_view bytes(reinterpret_cast<const char*>(packed), sizeof packed);
  EXPECT_EQ(gunzip(bytes), "hello\n");
  EXPECT_FALSE(gunzip(bytes.substr(0, bytes.size() - 1))) << "cut";
  EXPECT_FALSE(gunzip(std::string(bytes) + "x")) << "with a tail";
  EXPECT_FALSE(gunzip("hello\n"));
  EXPECT_FALSE(gunzip(""));
}

TEST(Gzip, GivesBackWhatItTook) {
  std::string mixed;
  for (std::int64_t i = 0; i < 100'000; ++i) mixed += static_cast<char>((i * i) >> 7);
  for (const std::string& text :
       {std::string(), std::string("x"), std::string(70'000, 'x'), mixed}) {
    EXPECT_EQ(gunzip(gzip(text)), text);
  }
}

TEST(Gzip, RefusesToUnpackBeyondItsLimit) {
  const std::string packed = gzip(std::string(100'000, 'x'));
  EXPECT_TRUE(gunzip(packed, 100'000));
  EXPECT_FALSE(gunzip(packed, 99'999));
}

// A verdict over two antennas said "choose one with --antenna".
TEST(Problem, SpeaksOfKeysNotOfTheCommandLine) {
  const auto detail = [](std::string what, std::string where, std::string remedy) {
    return nlohmann::json::parse(
               problem(Error{Errc::bad_usage, std::move(what), std::move(where), std::move(remedy)})
                   .body)["detail"]
        .get<std::string>();
  };
  EXPECT_EQ(detail("two antennas", "trials 1 and 2", "choose one with --antenna or --trial"),
            "trials 1 and 2: two antennas; choose one with antenna or trial");
  EXPECT_EQ(detail("too fine", "--sector-deg", "choose a later --from"),
            "sector_deg: too fine; choose a later from");
  EXPECT_EQ(detail("no mask", "", "write one with roundel expect DB --survey FILE"),
            "no mask; write one with roundel expect DB --survey FILE")
      << "what is typed in a terminal stays";
}

}  // namespace
}  // namespace roundel::serve
