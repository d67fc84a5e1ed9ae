"""Many machines at once: their list, requests solved once, one shelf shared between them."""
