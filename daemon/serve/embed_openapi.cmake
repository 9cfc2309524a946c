# cmake -DINPUT=openapi.json -DOUTPUT=openapi.cpp -P embed_openapi.cmake
file(READ ${INPUT} text)
file(WRITE ${OUTPUT} "#include \"daemon/serve/openapi.h\"\n\nnamespace roundel::serve {\n\n"
  "constinit const std::string_view openapi = R\"openapi(${text})openapi\";\n\n}  // namespace roundel::serve\n")
