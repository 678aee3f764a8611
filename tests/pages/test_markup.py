"""Text never becomes markup."""

import pytest

from dashboards.components.markup import Markup, element, show


def test_text_is_escaped():
    assert element("p", "<script>alert('x')</script>") == Markup(
        "<p>&lt;script&gt;alert(&#x27;x&#x27;)&lt;/script&gt;</p>"
    )


def test_an_attribute_cannot_be_left():
    assert element("p", title='"><b>') == Markup('<p title="&quot;&gt;&lt;b&gt;"></p>')


def test_elements_inside_are_kept():
    assert element("p", element("b", "a"), " & b") == Markup("<p><b>a</b> &amp; b</p>")


@pytest.mark.parametrize("name", ["p onload=x", "P><script", ""])
def test_a_name_that_is_none_is_refused(name):
    with pytest.raises(ValueError, match="not the name"):
        element(name)


def test_plain_text_does_not_reach_a_page():
    with pytest.raises(TypeError):
        show("<b>bold</b>")
