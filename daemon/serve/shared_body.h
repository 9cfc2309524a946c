// A body that many responses send at once: it is kept for them, and not copied.
#pragma once
#include <boost/asio/buffer.hpp>
#include <boost/beast/core/error.hpp>
#include <boost/beast/http/message.hpp>
#include <boost/optional/optional.hpp>
#include <cstdint>
#include <memory>
#include <string_view>
#include <utility>

namespace roundel::serve {

/// Beast's concept Body, for writing only.
struct SharedBody {
  struct value_type {
    std::shared_ptr<const void> owner{};  ///< keeps `bytes` where they are
    std::string_view bytes{};
  };
  static std::uint64_t size(const value_type& body) { return body.bytes.size(); }

  class writer {
   public:
    using const_buffers_type = boost::asio::const_buffer;
    template <bool is_request, class Fields>
    writer(const boost::beast::http::header<is_request, Fields>&, const value_type& body)
        : bytes_(body.bytes) {}
    void init(boost::beast::error_code& error) { error = {}; }
    boost::optional<std::pair<const_buffers_type, bool>> get(boost::beast::error_code& error) {
      error = {};
      return {{const_buffers_type(bytes_.data(), bytes_.size()), false}};
    }

   private:
    std::string_view bytes_;
  };
};

}  // namespace roundel::serve
