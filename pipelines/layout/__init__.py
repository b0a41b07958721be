"""What is proposed and where: outfall, collection, route, lift, take-off."""
