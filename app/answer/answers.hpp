#pragma once

#include "app/answer/answer.hpp"
#include "app/job.hpp"

/// One for each verb: does the study that the request asks for and says what came of it. What belongs to every answer
/// is added by the frame (app/command/present.hpp).
namespace onegrain::app::answer {

Answer bench(const Request& request, const Channels& channels, Job& job);
Answer curve(const Request& request, const Channels& channels, Job& job);
Answer rates(const Request& request, const Channels& channels, Job& job);
Answer ceiling(const Request& request, const Channels& channels, Job& job);
Answer losses(const Request& request, const Channels& channels, Job& job);
Answer follow(const Request& request, const Channels& channels, Job& job);
Answer overlay(const Request& request, const Channels& channels, Job& job);
Answer pulses(const Request& request, const Channels& channels, Job& job);
Answer balance(const Request& request, const Channels& channels, Job& job);
Answer fit(const Request& request, const Channels& channels, Job& job);
Answer spectrum(const Request& request, const Channels& channels, Job& job);
Answer teaching_page(const Request& request, const Channels& channels, Job& job);

Answer check(const Request& request, const Channels& channels);
Answer cards(const Request& request, const Channels& channels);
Answer schema(const Request& request, const Channels& channels);

}  // namespace onegrain::app::answer
