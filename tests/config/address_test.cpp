#include "analysis/config/address.h"

#include <gtest/gtest.h>

namespace roundel::config {
namespace {

struct Row {
  const char* name;
  const char* text;
  const char* answer;  // Endpoint::text(), or the error
};

std::string outcome(const Result<Endpoint>& endpoint) {
  return endpoint ? endpoint->text() : endpoint.error().what;
}

TEST(Address, ConnectAcceptsNamesAndNumbersWithAPort) {
  const Row rows[] = {
      {"IPv4", "127.0.0.1:27411", "127.0.0.1:27411"},
      {"IPv6", "[::1]:1234", "[::1]:1234"},
      {"full IPv6", "[2001:db8::17]:65535", "[2001:db8::17]:65535"},
      {"host name", "receiver-2.example:1", "receiver-2.example:1"},
      {"no port", "127.0.0.1", "no port"},
      {"empty", "", "no port"},
      {"no host", ":27411", "no host"},
      {"empty port", "host:", "port \"\" is not a number"},
      {"service name", "host:http", "port \"http\" is not a number"},
      {"signed port", "host:+5", "port \"+5\" is not a number"},
      {"port 0", "host:0", "port 0 is outside 1 to 65535"},
      {"port 65536", "host:65536", "port 65536 is outside 1 to 65535"},
      {"port beyond int", "host:99999999999", "port 99999999999 is outside 1 to 65535"},
      {"bare IPv6", "::1:1234", "an IPv6 address stands in brackets: [::1]:1234"},
      {"open bracket", "[::1:1234", "\"[\" is not closed"},
      {"bracket without port", "[::1]", "no port"},
      {"name in brackets", "[host]:1", "\"host\" is not an IPv6 address"},
      {"space in host", "my host:1", "\"my host\" is not a host name"},
      {"address with scheme", "tcp//host:1", "\"tcp//host\" is not a host name"},
  };
  for (const Row& row : rows) EXPECT_EQ(outcome(parse_connect(row.text)), row.answer) << row.name;
}

TEST(Address, ListenIsLoopbackUnlessAnAddressIsWritten) {
  const Row rows[] = {
      {"port alone", ":27411", "127.0.0.1:27411"},
      {"localhost", "localhost:27411", "127.0.0.1:27411"},
      {"any free port", "127.0.0.1:0", "127.0.0.1:0"},
      {"IPv6 loopback", "[::1]:5", "[::1]:5"},
      {"every address, written so", "0.0.0.0:27411", "0.0.0.0:27411"},
      {"every IPv6 address", "[::]:27411", "[::]:27411"},
      {"name", "hillhouse:27411", "\"hillhouse\" is not a numeric address of this computer"},
      {"no port", "127.0.0.1", "no port"},
      {"half an address", "127.0.0:5", "\"127.0.0\" is not a numeric address of this computer"},
      {"port 65536", ":65536", "port 65536 is outside 0 to 65535"},
  };
  for (const Row& row : rows) EXPECT_EQ(outcome(parse_listen(row.text)), row.answer) << row.name;
}

}  // namespace
}  // namespace roundel::config
