// Whether a document is well-formed XML, by xmllint (Debian package libxml2-utils).
#pragma once
#include <gtest/gtest.h>
#include <unistd.h>

#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <string>

namespace roundel::present {

inline testing::AssertionResult is_well_formed(const std::string& xml) {
  const auto file =
      std::filesystem::temp_directory_path() / ("roundel_xml_" + std::to_string(getpid()) + ".xml");
  std::ofstream(file) << xml;
  const int status = std::system(("xmllint --noout " + file.string()).c_str());
  std::filesystem::remove(file);
  if (status == 0) return testing::AssertionSuccess();
  return testing::AssertionFailure() << "xmllint ended with status " << status;
}

}  // namespace roundel::present
