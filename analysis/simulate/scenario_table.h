// Binds the keys of a scenario's TOML tables to members; what stands there and is bound by none is
// an error.
#pragma once
#include <fmt/format.h>

#include <algorithm>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "analysis/config/checked_table.h"
#include "analysis/config/toml_value.h"
#include "roundel/result.h"

namespace roundel::simulate {

inline constexpr double any_hour = 24 * 3660;  // ten years

/// One table being read: each call binds one key; the first error stays.
class ScenarioTable {
 public:
  ScenarioTable(const config::Value& table, std::string title, const std::string& file,
                std::optional<Error>& error)
      : table_(table), title_(std::move(title)), file_(file), error_(error) {}

  void number(std::string_view key, double low, double high, double& out) {
    const config::Value* value = take(key);
    if (value == nullptr) return;
    if (value->kind != config::Value::Kind::number && value->kind != config::Value::Kind::integer)
      return refuse(*value, fmt::format("{} is {}", key, words(value->kind)), "use a number");
    if (!(value->number >= low && value->number <= high))
      return refuse(*value, fmt::format("{} is {}", key, value->number),
                    fmt::format("use {} to {}", low, high));
    out = value->number;
  }
  void number(std::string_view key, double low, double high, std::optional<double>& out) {
    double read = 0;
    const bool is_there = table_.find(key) != nullptr;
    number(key, low, high, read);
    if (is_there) out = read;
  }
  void share(std::string_view key, double& out) { number(key, 0, 1, out); }
  void bearing(std::string_view key, double& out) { number(key, -360, 360, out); }
  template <class T>
  void hours(std::string_view key, T& out) {
    number(key, 0, any_hour, out);
  }
  void integer(std::string_view key, int low, int high, int& out) {
    double read = out;
    if (const config::Value* value = table_.find(key);
        value && value->kind == config::Value::Kind::number)
      return take(key), refuse(*value, fmt::format("{} is not a whole number", key));
    number(key, low, high, read);
    out = static_cast<int>(read);
  }
  void boolean(std::string_view key, bool& out) {
    const config::Value* value = take(key);
    if (value == nullptr) return;
    if (value->kind != config::Value::Kind::boolean)
      return refuse(*value, fmt::format("{} is {}", key, words(value->kind)), "use true or false");
    out = value->boolean;
  }
  /// @return whether it is there and good
  bool text(std::string_view key, std::string& out) {
    const config::Value* value = take(key);
    if (value == nullptr) return false;
    if (value->kind != config::Value::Kind::text || value->text.empty()) {
      refuse(*value,
             fmt::format("{} is {}", key,
                         value->text.empty() && value->kind == config::Value::Kind::text
                             ? "empty"
                             : words(value->kind)),
             "use text, in quotes");
      return false;
    }
    out = value->text;
    return true;
  }
  void name(std::string& out) {
    if (table_.find("name") == nullptr)
      refuse(table_, "has no name", "add name = \"...\"");
    else
      text("name", out);
  }
  /// Text that is one of a few words, as their index.
  template <class Choice>
  void choice(std::string_view key, const std::vector<std::string>& choices, Choice& out) {
    std::string word;
    const config::Value* value = table_.find(key);
    if (!text(key, word)) return;
    for (std::size_t i = 0; i < choices.size(); ++i)
      if (choices[i] == word) {
        out = static_cast<Choice>(i);
        return;
      }
    refuse(*value, fmt::format("{} is {}", key, config::shown(word)),
           config::suggestion(word, choices, "use one of"));
  }
  /// [key]
  template <class Read>
  void table(std::string_view key, Read read) {
    const config::Value* value = take(key);
    if (value == nullptr) return;
    if (value->kind != config::Value::Kind::table)
      return refuse(*value, fmt::format("{} is not a section", key),
                    fmt::format("write [{}]", path(key)));
    inner(*value, fmt::format("[{}]", path(key)), read);
  }
  /// [[key]], each into a new item.
  template <class T, class Read>
  void tables(std::string_view key, std::vector<T>& out, Read read) {
    const config::Value* value = take(key);
    if (value == nullptr) return;
    if (value->kind != config::Value::Kind::list)
      return refuse(*value, fmt::format("{} may stand several times", key),
                    fmt::format("write [[{}]], with two brackets", path(key)));
    for (const config::Value& item : value->items) {
      if (item.kind != config::Value::Kind::table)
        return refuse(item, fmt::format("{} holds {}", key, words(item.kind)),
                      fmt::format("write [[{}]]", path(key)));
      T& fresh = out.emplace_back();
      inner(item, fmt::format("[[{}]]", path(key)), [&](ScenarioTable& t) { read(t, fresh); });
    }
  }
  const config::Value* take(std::string_view key) {
    known_.emplace_back(key);
    return table_.find(key);
  }
  void refuse(const config::Value& at, std::string what, std::string remedy = {}) {
    if (error_) return;
    error_ = Error{Errc::bad_config, title_.empty() ? std::move(what) : title_ + " " + what,
                   fmt::format("{}:{}", file_, at.line), std::move(remedy)};
  }
  /// After all keys are bound: what else stands there does not exist.
  void finish() {
    for (const auto& [key, value] : table_.entries) {
      if (std::find(known_.begin(), known_.end(), key) != known_.end()) continue;
      return refuse(
          value,
          fmt::format("{}no key {}", title_.empty() ? "there is " : "has ", config::shown(key)),
          config::suggestion(key, known_, title_.empty() ? "there are" : "it has"));
    }
  }

 private:
  template <class Read>
  void inner(const config::Value& value, std::string title, Read read) {
    ScenarioTable t(value, std::move(title), file_, error_);
    read(t);
    t.finish();
  }
  std::string path(std::string_view key) const {
    const auto from = title_.find_first_not_of('['), to = title_.find(']');
    return title_.empty() ? std::string(key)
                          : fmt::format("{}.{}", title_.substr(from, to - from), key);
  }

  const config::Value& table_;
  std::string title_;
  const std::string& file_;
  std::optional<Error>& error_;
  std::vector<std::string> known_;
};

}  // namespace roundel::simulate
