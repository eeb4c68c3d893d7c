# The .deb, by CPack (`cpack --config build/release/CPackConfig.cmake`; `sh bootstrap.sh package` does all of it). Which libraries it needs is
# read off the program by dpkg-shlibdeps, so it is made on the Debian on which it is to be installed.
set(CPACK_GENERATOR DEB)
set(CPACK_PACKAGE_NAME onegrain)
set(CPACK_PACKAGE_VENDOR "onegrain")
set(CPACK_PACKAGE_CONTACT "The onegrain authors <onegrain@example.org>")  # an address that reaches nobody (RFC 2606); whoever passes packages on puts in theirs
set(CPACK_PACKAGE_DESCRIPTION_SUMMARY "voltage curves, charge rates and losses of lithium-ion cells")
set(CPACK_DEBIAN_PACKAGE_DESCRIPTION
    "A physics-based single-particle simulator for people who make electrodes by
hand: from what the bench knows of a cell it tells the current for 1C, voltage
curves and capacity at every C-rate, the highest charge rate that keeps every
limit and how sure that is, and lays measured curves over predicted ones.
.
Predictions guide a test, they do not authorise it.")
set(CPACK_PACKAGING_INSTALL_PREFIX /usr)
set(CPACK_STRIP_FILES ON)
set(CPACK_DEBIAN_PACKAGE_SECTION science)
set(CPACK_DEBIAN_PACKAGE_PRIORITY optional)
set(CPACK_DEBIAN_PACKAGE_SHLIBDEPS ON)
set(CPACK_DEBIAN_FILE_NAME DEB-DEFAULT)
set(CPACK_DEBIAN_PACKAGE_CONTROL_STRICT_PERMISSION ON)
set(CPACK_INSTALL_DEFAULT_DIRECTORY_PERMISSIONS OWNER_READ OWNER_WRITE OWNER_EXECUTE GROUP_READ GROUP_EXECUTE WORLD_READ WORLD_EXECUTE)
set(CPACK_PACKAGE_DIRECTORY ${PROJECT_BINARY_DIR})
set(CPACK_OUTPUT_FILE_PREFIX ${PROJECT_SOURCE_DIR}/package)
set(CPACK_PRE_BUILD_SCRIPTS ${CMAKE_CURRENT_LIST_DIR}/debian_files.cmake)  # what Debian asks for beside what every system gets
if(EXISTS /etc/debian_version)
  file(STRINGS /etc/os-release debian_release REGEX "^VERSION_ID=")
  string(REGEX REPLACE "[^0-9]" "" debian_release "${debian_release}")
  set(CPACK_DEBIAN_PACKAGE_RELEASE "1~deb${debian_release}")
endif()
file(STRINGS ${PROJECT_SOURCE_DIR}/CHANGELOG.md released REGEX "^## ${PROJECT_VERSION} " LIMIT_COUNT 1)
string(REGEX MATCH "[0-9]+-[0-9]+-[0-9]+" released "${released}")
set(CPACK_ONEGRAIN_RELEASED "${released}")
include(CPack)
