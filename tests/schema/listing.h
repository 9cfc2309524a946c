// A summariser whose bytes a test can read.
#pragma once
#include <fmt/format.h>

#include <utility>

#include "roundel/schema/summary.h"
#include "tests/schema/store_fixture.h"

namespace roundel::schema {

/// Writes down all it is given: whatever changes in an hour changes its detail.
class Listing : public Summariser {
 public:
  explicit Listing(int method = 1) : method_(method) {}
  int method() const override { return method_; }
  void add(const Cell& cell, const Flight& flight) override {
    const bool is_end = cell.window == flight.first_window || cell.window == flight.last_window;
    details_[flight.trial] += fmt::format("{}:{}:{}{} ", cell.window - day_window, cell.flight,
                                          cell.heard, is_end ? "!" : "");
  }
  std::map<Id, std::string> finish() override { return std::exchange(details_, {}); }
  std::string merged(const std::string& a, const std::string& b) const override {
    return a + "+ " + b;
  }

 private:
  int method_;
  std::map<Id, std::string> details_;
};

}  // namespace roundel::schema
