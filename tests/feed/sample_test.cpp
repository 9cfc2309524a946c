#include "daemon/feed/sample.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <unistd.h>
#include <zlib.h>

#include <boost/asio/io_context.hpp>
#include <boost/asio/ip/tcp.hpp>
#include <boost/asio/write.hpp>
#include <fstream>
#include <functional>
#include <thread>

#include "roundel/feed/framer.h"

namespace roundel::feed {
namespace {

namespace asio = boost::asio;
using asio::ip::tcp;
using testing::ElementsAre;
using testing::SizeIs;

// A feed on loopback that serves one connection.
class Server {
 public:
  explicit Server(std::function<void(tcp::socket&)> serve)
      : acceptor_(io_, tcp::endpoint(asio::ip::address_v4::loopback(), 0)),
        thread_([this, serve = std::move(serve)] {
          boost::system::error_code error;
          tcp::socket socket(io_);
          acceptor_.accept(socket, error);
          if (!error) serve(socket);
        }) {}
  ~Server() { thread_.join(); }

  config::Endpoint endpoint() const { return {"127.0.0.1", acceptor_.local_endpoint().port()}; }
  std::string where() const { return "127.0.0.1:" + std::to_string(endpoint().port); }

 private:
  asio::io_context io_;
  tcp::acceptor acceptor_;
  std::thread thread_;
};

void send(tcp::socket& socket, const std::string& bytes) {
  boost::system::error_code ignored;  // the reader may have had enough
  asio::write(socket, asio::buffer(bytes), ignored);
}

// Returns when the other side has closed.
void wait_for_end(tcp::socket& socket) {
  boost::system::error_code error;
  std::array<char, 64> buffer;
  while (!error) socket.read_some(asio::buffer(buffer), error);
}

TEST(SampleEndpoint, ReadsAsManyLinesAsAskedFor) {
  Server server([](tcp::socket& socket) {
    send(socket, "one\r\ntwo\nthree\nfour\n");
    wait_for_end(socket);
  });
  const auto sample = sample_endpoint(server.endpoint(), {.max_lines = 3, .max_s = 600});
  ASSERT_TRUE(sample) << sample.error().line();
  EXPECT_THAT(sample->lines, ElementsAre("one", "two", "three"));
}

TEST(SampleEndpoint, ReadsForAsLongAsAskedFor) {
  Server server([](tcp::socket& socket) {
    send(socket, "one\nbegun");
    wait_for_end(socket);
  });
  const auto sample = sample_endpoint(server.endpoint(), {.max_s = 0.05});
  ASSERT_TRUE(sample) << sample.error().line();
  EXPECT_THAT(sample->lines, ElementsAre("one")) << "a line that has only begun is none";
  EXPECT_GE(sample->took_s, 0.05);
}

TEST(SampleEndpoint, TakesWhatThereIsWhenTheFeedEnds) {
  Server server([](tcp::socket& socket) { send(socket, "one\ntwo"); });
  const auto sample = sample_endpoint(server.endpoint(), {.max_s = 600});
  ASSERT_TRUE(sample) << sample.error().line();
  EXPECT_THAT(sample->lines, ElementsAre("one", "two"));
}

TEST(SampleEndpoint, SaysThatNothingArrived) {
  Server server(wait_for_end);
  const auto sample = sample_endpoint(server.endpoint(), {.silence_s = 0.05});
  ASSERT_FALSE(sample);
  EXPECT_EQ(sample.error().code, Errc::io);
  EXPECT_EQ(sample.error().line(),
            server.where() +
                ": nothing arrived in 0.05 s; check that it sends position reports, "
                "as text, without being asked");
}

TEST(SampleEndpoint, SaysThatTheFeedClosed) {
  Server server([](tcp::socket&) {});
  const auto sample = sample_endpoint(server.endpoint(), {});
  ASSERT_FALSE(sample);
  EXPECT_EQ(sample.error().what, "closed the connection without sending anything");
}

TEST(SampleEndpoint, SaysThatNobodyListens) {
  int port = 0;
  {
    asio::io_context io;
    const tcp::acceptor acceptor(io, tcp::endpoint(asio::ip::address_v4::loopback(), 0));
    port = acceptor.local_endpoint().port();
  }
  const auto sample = sample_endpoint({"127.0.0.1", port}, {});
  ASSERT_FALSE(sample);
  EXPECT_EQ(sample.error().line(), "127.0.0.1:" + std::to_string(port) +
                                       ": cannot connect: Connection refused; check that the feed "
                                       "is running there");
}

TEST(SampleEndpoint, RefusesBinaryData) {
  Server server([](tcp::socket& socket) {
    send(socket, std::string("\x1a\x32\x00\x07\n\x11", 6));
    wait_for_end(socket);
  });
  const auto sample = sample_endpoint(server.endpoint(), {.max_s = 600});
  ASSERT_FALSE(sample);
  EXPECT_EQ(sample.error().line(), server.where() +
                                       ": sends binary data, not lines of text; use the "
                                       "receiver's text output");
}

TEST(SampleEndpoint, SaysThatNoLineEnds) {
  Server server([](tcp::socket& socket) {
    send(socket, "words without end");
    wait_for_end(socket);
  });
  const auto sample = sample_endpoint(server.endpoint(), {.max_s = 0.05});
  ASSERT_FALSE(sample);
  EXPECT_EQ(sample.error().what, "17 bytes arrived, but no whole line");
}

class SampleFile : public testing::Test {
 protected:
  void SetUp() override {
    folder_ =
        std::filesystem::temp_directory_path() / ("roundel_sample_" + std::to_string(getpid()));
    std::filesystem::create_directory(folder_);
  }
  void TearDown() override { std::filesystem::remove_all(folder_); }

  std::filesystem::path plain(const std::string& bytes) {
    std::ofstream(folder_ / "plain", std::ios::binary) << bytes;
    return folder_ / "plain";
  }
  std::filesystem::path gzipped(const std::string& bytes) {
    const gzFile file = gzopen((folder_ / "file.gz").c_str(), "wb");
    gzwrite(file, bytes.data(), static_cast<unsigned>(bytes.size()));
    gzclose(file);
    return folder_ / "file.gz";
  }
  std::filesystem::path folder_;
};

TEST_F(SampleFile, ReadsPlainAndGzipAlike) {
  const std::string bytes = "one\r\n\ntwo\nthree";
  for (const auto& file : {plain(bytes), gzipped(bytes)}) {
    const auto sample = sample_file(file, {});
    ASSERT_TRUE(sample) << sample.error().line();
    EXPECT_THAT(sample->lines, ElementsAre("one", "two", "three")) << file;
    EXPECT_EQ(sample->took_s, 0);
  }
}

TEST_F(SampleFile, StopsAtTheLinesAskedFor) {
  std::string bytes;
  for (int i = 0; i < 100000; ++i) bytes += "a line like any other\n";
  const auto sample = sample_file(gzipped(bytes), {.max_lines = 10});
  ASSERT_TRUE(sample);
  EXPECT_THAT(sample->lines, SizeIs(10));
}

TEST_F(SampleFile, CountsLinesTooLong) {
  const auto sample = sample_file(
      plain(std::string(std::size_t{config::usual_line_bytes} + 1, 'x') + "\none\n"), {});
  ASSERT_TRUE(sample);
  EXPECT_THAT(sample->lines, ElementsAre("one"));
  EXPECT_EQ(sample->n_too_long, 1u);
}

TEST_F(SampleFile, SaysWhyAFileCantBeRead) {
  struct Row {
    const char* name;
    std::filesystem::path file;
    Errc code;
    const char* line;  // after the file's name
  };
  const std::filesystem::path absent = folder_ / "absent", empty = folder_ / "empty",
                              binary = folder_ / "binary", long_line = folder_ / "long",
                              cut = folder_ / "cut.gz", damaged = folder_ / "damaged.gz";
  std::ofstream(empty).flush();
  std::ofstream(binary) << std::string("a\0b\n", 4);
  std::ofstream(long_line) << std::string(std::size_t{config::usual_line_bytes} + 1, 'x');
  std::string bytes;
  for (int i = 0; i < 3000; ++i) bytes += std::to_string(i * 7919 % 10007) + "\n";
  std::ifstream in(gzipped(bytes), std::ios::binary);
  std::string packed(std::istreambuf_iterator<char>(in), {});
  std::ofstream(cut, std::ios::binary) << packed.substr(0, packed.size() / 2);
  packed[packed.size() / 2] = static_cast<char>(packed[packed.size() / 2] ^ 0x55);
  packed[packed.size() / 2 + 1] = static_cast<char>(packed[packed.size() / 2 + 1] ^ 0x55);
  std::ofstream(damaged, std::ios::binary) << packed;
  for (const Row& row :
       {Row{"not there", absent, Errc::not_found, ": cannot read: No such file or directory"},
        Row{"a folder", folder_, Errc::io, ": is a folder; name a file"},
        Row{"empty", empty, Errc::too_little, ": is empty"},
        Row{"binary", binary, Errc::malformed,
            ": sends binary data, not lines of text; use the receiver's text output"},
        Row{"one long line", long_line, Errc::malformed,
            ": no line is shorter than 4096 bytes; lines must end in LF or CR LF"}}) {
    const auto sample = sample_file(row.file, {.max_lines = 100000});
    ASSERT_FALSE(sample) << row.name;
    EXPECT_EQ(sample.error().code, row.code) << row.name;
    EXPECT_EQ(sample.error().line(), row.file.string() + row.line) << row.name;
  }
  for (const auto& file : {cut, damaged}) {
    const auto sample = sample_file(file, {.max_lines = 100000});
    ASSERT_FALSE(sample) << file;
    EXPECT_EQ(sample.error().code, Errc::corrupt) << file;
    EXPECT_THAT(sample.error().line(), testing::HasSubstr("damaged gzip data")) << file;
  }
}

TEST(IsBinary, TellsTextOfAnyEncodingFromBytes) {
  EXPECT_FALSE(is_binary("plain\ttext\r\n"));
  EXPECT_FALSE(is_binary("H\xC3\xBCgel, H\xFCgel"));
  EXPECT_FALSE(is_binary("a\x1b[31m colour now and then in a line of text is no harm"));
  EXPECT_FALSE(is_binary(""));
  EXPECT_TRUE(is_binary(std::string_view("a\0b", 3)));
  EXPECT_TRUE(is_binary("\x01\x02\x03\x04"));
}

}  // namespace
}  // namespace roundel::feed
