"""Commands: read arguments, call records, print.

What they say of themselves is said when they are loaded, so that the language is chosen before.
"""

import os

from markstead.speech import speak

speak(os.environ.get("MARKSTEAD_LANGUAGE"))
