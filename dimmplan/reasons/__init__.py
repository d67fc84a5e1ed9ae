"""Why a placement is as it is, and what would change: objects without sentences, every figure computed."""
