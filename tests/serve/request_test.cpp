#include "daemon/serve/request.h"

#include <gtest/gtest.h>

#include <string>

namespace roundel::serve {
namespace {

TEST(Target, IsTakenApart) {
  // RFC 9112, section 3.2.
  struct Row {
    const char* name;
    const char* target;
    bool is_valid;
    const char* authority;
    const char* path;
    const char* query;
  };
  const Row rows[] = {
      {"origin form", "/api/site", true, "", "/api/site", ""},
      {"root", "/", true, "", "/", ""},
      {"with a query", "/api/cut?bearing_deg=90", true, "", "/api/cut", "bearing_deg=90"},
      {"second question mark", "/a?b?c", true, "", "/a", "b?c"},
      {"absolute form", "http://localhost:27410/api/site?x", true, "localhost:27410", "/api/site",
       "x"},
      {"absolute form, scheme in capitals", "HTTP://localhost/", true, "localhost", "/", ""},
      {"absolute form without a path", "http://localhost", true, "localhost", "/", ""},
      {"absolute form without a host", "http:///x", false, "", "", ""},
      {"absolute form, query without a path", "http://localhost?x=1", true, "localhost", "/",
       "x=1"},
      {"another scheme", "ftp://localhost/", false, "", "", ""},
      {"asterisk form", "*", false, "", "", ""},
      {"authority form", "localhost:80", false, "", "", ""},
      {"fragment", "/a#b", false, "", "", ""},
      {"empty", "", false, "", "", ""},
  };
  for (const auto& row : rows) {
    SCOPED_TRACE(row.name);
    const Target target = read_target(row.target);
    EXPECT_EQ(target.is_valid, row.is_valid);
    EXPECT_EQ(target.authority, row.authority);
    if (!row.is_valid) continue;
    EXPECT_EQ(target.path, row.path);
    EXPECT_EQ(target.query, row.query);
  }
}

TEST(Host, AddressesLocalhostAndConfiguredNamesAreOurs) {
  struct Row {
    const char* name;
    std::string_view host;
    bool is_own;
  };
  using namespace std::string_view_literals;
  const Row rows[] = {
      {"IPv4", "127.0.0.1", true},
      {"IPv4 with port", "192.168.1.7:27410", true},
      {"IPv6", "[::1]", true},
      {"IPv6 with port", "[2001:db8::1]:27410", true},
      {"localhost", "localhost", true},
      {"localhost with port", "localhost:27410", true},
      {"capitals", "LocalHost", true},
      {"with the root's dot", "localhost.", true},
      {"configured", "roof.example", true},
      {"configured, capitals", "ROOF.example:80", true},
      {"another name", "attacker.example", false},
      {"a name that ends like ours", "evil-roof.example", false},
      {"a name that begins like ours", "roof.example.attacker.example", false},
      {"a name that begins like an address", "127.0.0.1.attacker.example", false},
      {"localhost as a label", "localhost.attacker.example", false},
      {"empty", "", false},
      {"only a port", ":80", false},
      {"port in words", "localhost:http", false},
      {"port too long", "localhost:123456", false},
      {"user before it", "user@localhost", false},
      {"bracket left open", "[::1", false},
      {"no address in brackets", "[localhost]", false},
      // Found by fuzz_http_query: inet_pton read the address before the NUL only.
      {"a NUL in brackets", "[::1\0@/?]"sv, false},
      {"a NUL in an address", "127.0.0.1\0.example"sv, false},
      {"text behind the bracket", "[::1]x", false},
      {"short form of an address", "127.1", false},
      {"a number", "2130706433", false},
      {"two dots", "localhost..", false},
  };
  for (const auto& row : rows) {
    SCOPED_TRACE(row.name);
    EXPECT_EQ(is_own_host(row.host, {"roof.example"}), row.is_own);
  }
}

TEST(AcceptEncoding, GzipIsUsedWhereItIsTaken) {
  // RFC 9110, section 12.5.3, and its examples.
  struct Row {
    const char* name;
    const char* field;
    bool is_accepted;
  };
  const Row rows[] = {
      {"the standard's example 1", "compress, gzip", true},
      {"the standard's example 2: nothing", "", false},
      {"the standard's example 3: anything", "*", true},
      {"the standard's example 4", "compress;q=0.5, gzip;q=1.0", true},
      {"the standard's example 5", "gzip;q=1.0, identity; q=0.5, *;q=0", true},
      {"refused", "gzip;q=0", false},
      {"refused with decimals", "gzip; q=0.000", false},
      {"a little", "gzip;q=0.001", true},
      {"refused, others welcome", "gzip;q=0, *", false},
      {"others refused", "*;q=0", false},
      {"capitals", "GZIP", true},
      {"old name", "x-gzip", true},
      {"another that begins alike", "gzipped", false},
      {"as browsers send it", "gzip, deflate, br, zstd", true},
      {"only commas", ",,,", false},
  };
  for (const auto& row : rows) {
    SCOPED_TRACE(row.name);
    EXPECT_EQ(accepts_gzip(row.field), row.is_accepted);
  }
}

TEST(IfNoneMatch, NamesTags) {
  // RFC 9110, section 13.1.2, and its examples.
  struct Row {
    const char* name;
    const char* field;
    bool is_named;
  };
  const Row rows[] = {
      {"the tag", "\"xyzzy\"", true},
      {"weak", "W/\"xyzzy\"", true},
      {"a list", "\"abc\", \"xyzzy\", \"r2d2xxxx\"", true},
      {"a list without spaces", "W/\"abc\",W/\"xyzzy\"", true},
      {"anything", "*", true},
      {"another", "\"r2d2xxxx\"", false},
      {"part of a tag", "\"xyz\"", false},
      {"without quotes", "xyzzy", false},
      {"inside another tag", "\"a,xyzzy\"", false},
      {"left open", "\"xyzzy", false},
      {"empty", "", false},
  };
  for (const auto& row : rows) {
    SCOPED_TRACE(row.name);
    EXPECT_EQ(names_tag(row.field, "\"xyzzy\""), row.is_named);
  }
  EXPECT_FALSE(names_tag("*", "")) << "an answer without a tag is never known";
}

TEST(CacheControl, NoCacheDemandsANewAnswer) {
  EXPECT_TRUE(demands_new("no-cache"));
  EXPECT_TRUE(demands_new("max-age=0, No-Cache"));
  EXPECT_FALSE(demands_new(""));
  EXPECT_FALSE(demands_new("max-age=0"));
  EXPECT_FALSE(demands_new("no-cache=x")) << "the request's directive has no argument";
}

TEST(ConstantTime, ComparesAsTextDoes) {
  EXPECT_TRUE(is_equal_in_constant_time("", ""));
  EXPECT_TRUE(is_equal_in_constant_time("secret", "secret"));
  EXPECT_FALSE(is_equal_in_constant_time("secret", "secreT"));
  EXPECT_FALSE(is_equal_in_constant_time("secret", "Secret"));
  EXPECT_FALSE(is_equal_in_constant_time("secret", "secre"));
  EXPECT_FALSE(is_equal_in_constant_time("secret", "secret "));
}

}  // namespace
}  // namespace roundel::serve
