"""Whether labels of a picture overlap."""


def shown_texts(axes):
    for axis in (axes.xaxis, axes.yaxis):
        low, high = sorted(axis.get_view_interval())
        yield from (tick.label1 for tick in axis.get_major_ticks() if low <= tick.get_loc() <= high)
        yield from (tick.label2 for tick in axis.get_major_ticks() if low <= tick.get_loc() <= high)
        yield axis.label
    yield from [*axes.texts, axes.title, axes._left_title]


def labels_overlap(figure):
    figure.draw_without_rendering()
    renderer = figure._get_renderer()
    everything = [axes for parent in figure.axes for axes in (parent, *parent.child_axes)]
    texts = [text for axes in everything for text in shown_texts(axes) if text.get_visible() and text.get_text()]
    boxes = [(text.get_text(), text.get_window_extent(renderer)) for text in texts]
    assert len(boxes) > 8
    return [(a, b) for i, (a, first) in enumerate(boxes) for b, second in boxes[i + 1 :] if first.overlaps(second)]
