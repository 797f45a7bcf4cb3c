"""Bodies that a person's client sends, read as strictly as the rows of a push."""

from typing import Any, TypeVar

import msgspec

from approaches.services.readings import fault_of
from common.errors import InvalidInputError

Form = TypeVar("Form", bound=msgspec.Struct)


def read_form(sent: Any, form: type[Form]) -> Form:
    """Return what a parsed JSON body says.

    Raises
    ------
    InvalidInputError
        A field is unknown, missing, or has a value of another type.
    """
    try:
        return msgspec.convert(sent, form)
    except msgspec.ValidationError as error:
        raise InvalidInputError(faults=[fault_of(error)]) from error
