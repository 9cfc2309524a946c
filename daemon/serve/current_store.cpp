#include "daemon/serve/current_store.h"

#include <sys/stat.h>

namespace roundel::serve {

Result<const schema::Store*> CurrentStore::open() {
  struct stat now {};
  const bool exists = ::stat(file_.c_str(), &now) == 0;
  const std::pair<std::uint64_t, std::uint64_t> identity{now.st_dev, now.st_ino};
  if (store_ && exists && identity == identity_) return &*store_;
  store_.reset();
  ++n_opened_;
  auto opened = schema::Store::open(file_, schema::Store::Access::read);
  if (!opened) return tl::unexpected(std::move(opened.error()));
  store_.emplace(std::move(*opened));
  if (is_over_) store_->stop_once(*is_over_);
  identity_ = identity;
  return &*store_;
}

Result<schema::Store> CurrentStore::open_to_change() const {
  // Opening for writing would make a database where none is.
  if (auto there = schema::Store::open(file_, schema::Store::Access::read); !there) {
    return tl::unexpected(std::move(there.error()));
  }
  return schema::Store::open(file_, schema::Store::Access::write);
}

}  // namespace roundel::serve
