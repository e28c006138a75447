# tests/headers.cmake: every header compiles alone. Makes one source a header, built as a library.
file(GLOB_RECURSE headers RELATIVE ${CMAKE_SOURCE_DIR} CONFIGURE_DEPENDS
     ${CMAKE_SOURCE_DIR}/engine/*.h ${CMAKE_SOURCE_DIR}/lang/*.h ${CMAKE_SOURCE_DIR}/nodes/*.h)
foreach(header IN LISTS headers)
    string(MAKE_C_IDENTIFIER ${header} name)
    set(source ${CMAKE_CURRENT_BINARY_DIR}/headers/${name}.c)
    set(text "#include \"${header}\"\ntypedef int lb_header_alone;\n")
    file(CONFIGURE OUTPUT ${source} CONTENT "${text}" @ONLY)
    list(APPEND header_sources ${source})
endforeach()
add_library(headers-alone OBJECT ${header_sources})
target_link_libraries(headers-alone PRIVATE lb_nodes lb_lang)
