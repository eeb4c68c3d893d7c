#include "app/answer/answer.hpp"

#include <utility>

namespace onegrain::app::answer {

Block::Block(Paragraph block) : variant(std::move(block)) {}
Block::Block(Lines block) : variant(std::move(block)) {}
Block::Block(Bullets block) : variant(std::move(block)) {}
Block::Block(Figures block) : variant(std::move(block)) {}
Block::Block(Facts block) : variant(std::move(block)) {}
Block::Block(Table block) : variant(std::move(block)) {}
Block::Block(Plot block) : variant(std::move(block)) {}
Block::Block(Bars block) : variant(std::move(block)) {}
Block::Block(Stack block) : variant(std::move(block)) {}
Block::Block(Layers block) : variant(std::move(block)) {}
Block::Block(Intervals block) : variant(std::move(block)) {}
Block::Block(Arrays block) : variant(std::move(block)) {}
Block::Block(Listed block) : variant(std::move(block)) {}
Block::Block(const Block&) = default;
Block::Block(Block&&) noexcept = default;
Block& Block::operator=(const Block&) = default;
Block& Block::operator=(Block&&) noexcept = default;
Block::~Block() = default;

}  // namespace onegrain::app::answer
