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
    const std::string line = fmt::format("{}:{}:{}{} ", cell.window - day_window, cell.flight,
                                         cell.heard, is_end ? "!" : "");
    SummaryDetail& detail = details_[flight.trial];
    detail.places += line;
    detail.flights += "f" + line;
  }
  std::map<Id, SummaryDetail> finish() override { return std::exchange(details_, {}); }
  SummaryDetail merged(const SummaryDetail& a, const SummaryDetail& b) const override {
    return {a.places + "+ " + b.places, a.flights + "+ " + b.flights};
  }

 private:
  int method_;
  std::map<Id, SummaryDetail> details_;
};

}  // namespace roundel::schema
